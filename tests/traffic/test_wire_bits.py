"""The vectorised count of wire bits against the plain bit-by-bit frame and published lengths."""

from __future__ import annotations

import numpy as np
import plain_bits
import pytest
from frame_rows import batch_of
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.traffic.wire_bits import FD_LENGTHS, wire_bit_parts, wire_bits
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameFlag

# bytes that make stuff bits likely
BYTES = st.one_of(st.sampled_from([0x00, 0xFF, 0x0F, 0xF0, 0x78, 0x87, 0x1F, 0xE0]), st.integers(0, 255))
IDS = st.one_of(st.integers(0, 0x1FFFFFFF), st.sampled_from([0, 0x1FFFFFFF, 0x7FF, 0x0F83E0F8, 0x18FEF100]))


@st.composite
def classic_frames(draw: st.DrawFn) -> tuple[int, int, bytes, int, int]:
    """(identifier, flags, data, length, bits by the plain way)"""
    extended = draw(st.booleans())
    can_id = draw(IDS) & (0x1FFFFFFF if extended else 0x7FF)
    flags = FrameFlag.EXTENDED.value if extended else 0
    if draw(st.integers(0, 4)) == 0:
        length = draw(st.integers(0, 8))
        frame = plain_bits.classic(can_id, extended=extended, remote=True, dlc=length)
        return can_id, flags | FrameFlag.REMOTE, b"", length, len(frame.bits)
    data = bytes(draw(st.lists(BYTES, max_size=8)))
    frame = plain_bits.classic(can_id, data, extended=extended)
    return can_id, flags, data, len(data), len(frame.bits)


@st.composite
def fd_frames(draw: st.DrawFn) -> tuple[int, int, bytes, int, int, int]:
    extended, brs, esi = draw(st.booleans()), draw(st.booleans()), draw(st.booleans())
    can_id = draw(IDS) & (0x1FFFFFFF if extended else 0x7FF)
    size = draw(st.sampled_from(FD_LENGTHS))
    data = bytes(draw(st.lists(BYTES, min_size=size, max_size=size)))
    flags = FrameFlag.FD | (FrameFlag.EXTENDED if extended else 0)
    flags |= (FrameFlag.BRS if brs else 0) | (FrameFlag.ESI if esi else 0)
    frame = plain_bits.fd(can_id, data, extended=extended, brs=brs, esi=esi)
    return can_id, int(flags), data, size, len(frame.bits) - frame.fast_bits, frame.fast_bits


@settings(max_examples=60, deadline=None)
@given(st.lists(classic_frames(), min_size=1, max_size=20))
def test_classic_frames_have_the_bits_of_the_plain_way(frames: list[tuple[int, int, bytes, int, int]]) -> None:
    batch = batch_of([(0, 0, f[0], f[1], f[2]) for f in frames], [f[3] for f in frames])
    assert wire_bits(batch).tolist() == [f[4] for f in frames]


@settings(max_examples=60, deadline=None)
@given(st.lists(fd_frames(), min_size=1, max_size=8))
def test_fd_frames_have_the_bits_of_the_plain_way(frames: list[tuple[int, int, bytes, int, int, int]]) -> None:
    nominal, fast = wire_bit_parts(batch_of([(0, 0, f[0], f[1], f[2]) for f in frames]))
    assert nominal.tolist() == [f[4] for f in frames]
    assert fast.tolist() == [f[5] for f in frames]


def test_every_base_identifier_without_data() -> None:
    batch = batch_of([(0, 0, can_id, 0, b"") for can_id in range(0x800)])
    bits = wire_bits(batch)
    assert bits.tolist() == [len(plain_bits.classic(can_id).bits) for can_id in range(0x800)]
    # An 11-bit frame without data is 48 to 53 bits (exhaustive, by an independent script)
    assert (bits.min(), bits.max()) == (48, 53)


@pytest.mark.parametrize("extended", [False, True])
@pytest.mark.parametrize("size", range(9))
def test_lengths_stay_within_the_published_bounds(extended: bool, size: int) -> None:
    rng = np.random.default_rng(size)
    rows = []
    for pattern in (0x00, 0xFF, 0x1E, 0x3C, 0x78, 0x87, 0xC3, 0xE1, 0xF0):
        rows += [(0, 0, int(can_id), int(extended), bytes([pattern] * size)) for can_id in range(0x780, 0x800)]
    for _ in range(200):
        can_id = int(rng.integers(0, 1 << (29 if extended else 11)))
        rows.append((0, 0, can_id, int(extended), rng.bytes(size)))
    bits = wire_bits(batch_of(rows))
    # Linux include/linux/can/length.h and its patch mail: 47 + 8 s and 67 + 8 s without stuff bits, intermission included
    shortest = (67 if extended else 47) + 8 * size
    # Davis, Burns, Bril, Lukkien 2007: 55 + 10 s and 80 + 10 s at worst (135 and 160 at s = 8 also in length.h's mail)
    longest = (80 if extended else 55) + 10 * size
    assert bits.min() >= shortest
    assert bits.max() <= longest


def test_true_maxima() -> None:
    # 133 and 158 bits with intermission are the true maxima at 8 bytes: dynamic programming over all frames (states of
    # stuffing and CRC), by two independent scripts, the second of which gave these frames that reach them
    rows = [
        (0, 0, 0x7FE, 0, bytes.fromhex("01e1e1e1e7c3c01e")),
        (0, 0, 0x1F0C3C3C, FrameFlag.EXTENDED.value, bytes.fromhex("3c3c3c3c3c3c3c3e")),
    ]
    assert wire_bits(batch_of(rows)).tolist() == [133, 158]
    assert len(plain_bits.classic(0x7FE, rows[0][4]).bits) == 133
    assert len(plain_bits.classic(0x1F0C3C3C, rows[1][4], extended=True).bits) == 158


def test_published_frames_count_right() -> None:
    # the same frames as in test_plain_bits.py, whose sources stand there
    rows = [
        (0, 0, 0x014, 0, b"\x01"),
        (0, 0, 0x0C1, 0, bytes.fromhex("4001087500000000")),
        (0, 0, 0x18FEF100, FrameFlag.EXTENDED.value, b"\xff" * 8),
        (0, 0, 0x5AA, (FrameFlag.FD | FrameFlag.BRS).value, b"\xff" * 8),
    ]
    assert wire_bits(batch_of(rows)).tolist() == [58, 108 + 13, 146, 138]


def test_error_frames_have_no_bits() -> None:
    assert wire_bits(batch_of([(0, 0, 0x80, FrameFlag.ERROR.value, b"\x00" * 8)])).tolist() == [0]


def test_a_length_code_above_eight_means_eight_bytes() -> None:
    # Linux include/linux/can/length.h can_cc_dlc2len, citing ISO 11898-1 8.4.2.3
    data = bytes(range(8))
    expected = len(plain_bits.classic(0x321, data, dlc=13).bits)
    by_flags = batch_of([(0, 0, 0x321, 13 << RAW_DLC_SHIFT, data)])
    by_length = batch_of([(0, 0, 0x321, 0, data)], [13])
    assert wire_bits(by_flags).tolist() == wire_bits(by_length).tolist() == [expected]
    assert expected != len(plain_bits.classic(0x321, data).bits)


def test_an_empty_batch_has_no_bits() -> None:
    assert wire_bits(batch_of([])).tolist() == []


def test_load_of_a_hundred_frames_a_second() -> None:
    # 100 frames/s of 8 bytes at 250 kbit/s are 4.44 % to 5.40 % of the bus (from the lengths 111 and 135 above)
    rng = np.random.default_rng(3)
    rows = [(0, 0, int(rng.integers(0, 0x800)), 0, rng.bytes(8)) for _ in range(100)]
    load = 100 * wire_bits(batch_of(rows)).sum() / 250_000
    assert 4.44 <= load <= 5.40
