"""The vectorised count of wire bits against the plain bit-by-bit frame and published lengths."""

from __future__ import annotations

import numpy as np
import plain_bits
import pytest
from frame_rows import Row, batch_of, cut
from hypothesis import given, settings
from hypothesis import strategies as st
from loops import way

from benchcheck.traffic.wire.wire_bits import wire_bit_parts, wire_bits
from benchcheck.words.frames import FD_LENGTHS, RAW_DLC_SHIFT, FrameBatch, FrameFlag

__all__ = ["way"]
pytestmark = pytest.mark.usefixtures("way")

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


# row, length where it is not that of the data, bits at the nominal rate, bits at the data rate
Expected = tuple[Row, int, int, int]
classic_rows = classic_frames().map(lambda f: ((0, 0, f[0], f[1], f[2]), f[3], f[4], 0))
fd_rows = fd_frames().map(lambda f: ((0, 0, f[0], f[1], f[2]), f[3], f[4], f[5]))


@settings(max_examples=100, deadline=None)
@given(st.lists(st.one_of(classic_rows, fd_rows), min_size=1, max_size=12))
def test_frames_of_all_kinds_have_the_bits_of_the_plain_way(frames: list[Expected]) -> None:
    nominal, fast = wire_bit_parts(batch_of([f[0] for f in frames], [f[1] for f in frames]))
    assert nominal.tolist() == [f[2] for f in frames]
    assert fast.tolist() == [f[3] for f in frames]


# runs of every length in every place: few bits change
_STICKY = np.array([0x00, 0xFF, 0x01, 0x80, 0x0F, 0xF0, 0x1F, 0xF8, 0x07, 0xE0, 0x3F, 0xFC, 0x83, 0x7C], np.uint8)


def _random_batch(count: int, *, is_fd: bool, seed: int) -> FrameBatch:
    rng = np.random.default_rng(seed)
    lengths = rng.choice(FD_LENGTHS, count) if is_fd else rng.integers(0, 9, count)
    width = 64 if is_fd else 8
    data = np.where(
        rng.random((count, 1)) < 0.5, rng.integers(0, 256, (count, width)), rng.choice(_STICKY, (count, width))
    )
    flags = rng.integers(0, 2, count) * FrameFlag.EXTENDED.value
    if is_fd:
        flags |= FrameFlag.FD.value | (rng.integers(0, 4, count) * FrameFlag.BRS.value)
        is_remote = np.zeros(count, bool)
    else:
        is_remote = rng.random(count) < 0.1
        flags |= is_remote * FrameFlag.REMOTE.value
    data *= (np.arange(width) < lengths[:, None]) & ~is_remote[:, None]
    can_id = rng.integers(0, 1 << 29, count) & rng.choice([0x1FFFFFFF, 0x1F0000FF, 0x1003FC00], count)
    return FrameBatch(
        np.zeros(count, np.int64),
        np.zeros(count, np.uint16),
        (can_id >> np.where(flags & FrameFlag.EXTENDED, 0, 18)).astype(np.uint32),
        flags.astype(np.uint16),
        lengths.astype(np.uint8),
        data.astype(np.uint8),
    )


def _plain_parts(batch: FrameBatch, row: int) -> tuple[int, int]:
    flags, can_id, length = int(batch.flags[row]), int(batch.can_id[row]), int(batch.length[row])
    extended, remote = bool(flags & FrameFlag.EXTENDED), bool(flags & FrameFlag.REMOTE)
    data = b"" if remote else bytes(batch.data[row, :length])
    if flags & FrameFlag.FD:
        brs, esi = bool(flags & FrameFlag.BRS), bool(flags & FrameFlag.ESI)
        frame = plain_bits.fd(can_id, data, extended=extended, brs=brs, esi=esi)
    else:
        frame = plain_bits.classic(can_id, data, extended=extended, remote=remote, dlc=length)
    return len(frame.bits) - frame.fast_bits, frame.fast_bits


@pytest.mark.parametrize(("is_fd", "count"), [(False, 4000), (True, 1500)])
def test_random_frames_in_one_batch_have_the_bits_of_the_plain_way(is_fd: bool, count: int) -> None:
    batch = _random_batch(count, is_fd=is_fd, seed=5)
    nominal, fast = wire_bit_parts(batch)
    assert list(zip(nominal.tolist(), fast.tolist(), strict=True)) == [_plain_parts(batch, k) for k in range(count)]


@pytest.mark.parametrize("is_fd", [False, True])
def test_a_batch_has_the_bits_of_its_parts(is_fd: bool) -> None:
    batch = _random_batch(30_000, is_fd=is_fd, seed=6)
    same = FrameBatch(  # one kind throughout is not sorted, and counted in several pieces
        batch.time_ns,
        batch.bus,
        batch.can_id & np.uint32(0x7FF),
        np.full(len(batch), FrameFlag.FD.value if is_fd else 0, np.uint16),
        np.full(len(batch), batch.data.shape[1], np.uint8),
        batch.data,
    )
    for whole in (batch, same):
        parts = [wire_bit_parts(cut(whole, start, start + 1100)) for start in range(0, len(whole), 1100)]
        for together, column in zip(wire_bit_parts(whole), zip(*parts, strict=True), strict=True):
            assert together.tolist() == np.concatenate(column).tolist()
    for row in (0, 16_383, 16_384, 29_999):
        found = tuple(int(column[row]) for column in wire_bit_parts(same))
        assert found == _plain_parts(same, row)


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
    # A data frame with a length code below 4 always has a stuff bit: RTR, the two bits behind it and the upper two of
    # the length code are five zeros (found true of all such frames by an independent script)
    assert size >= 4 or bits.min() > shortest


def _most_stuffed(head: list[int], data_bytes: int) -> bytes:
    """Data that make as many stuff bits as can be: each bit goes on with the run, and so does the stuff bit's value."""
    sent, _ = plain_bits.stuff(head)
    run = next((k for k in range(1, len(sent)) if sent[-k - 1] != sent[-1]), len(sent))
    last, bits = sent[-1], []
    for _ in range(8 * data_bytes):
        bits.append(last)
        run += 1
        if run == 5:
            last, run = 1 - last, 1
    return bytes(int("".join(map(str, bits[k : k + 8])), 2) for k in range(0, len(bits), 8))


@pytest.mark.parametrize(("extended", "unstuffed", "longest"), [(False, 579, 712), (True, 598, 736)])
def test_fd_lengths_stay_within_the_published_bounds(extended: bool, unstuffed: int, longest: int) -> None:
    # Patch mail of Linux include/linux/can/length.h: 64 bytes take 579 / 598 bits without dynamic stuff bits and 712 /
    # 736 at worst
    flags = (FrameFlag.FD | (FrameFlag.EXTENDED if extended else 0)).value
    rng = np.random.default_rng(4)
    can_ids = [0, 0x0F0, 0x078, 0x7FF, 0x1F0C3C3C, 0x1FFFFFFF, *map(int, rng.integers(0, 1 << 29, 100))]
    rows: list[Row] = []
    for can_id in (number & (0x1FFFFFFF if extended else 0x7FF) for number in can_ids):
        if extended:
            head = [0, *plain_bits.number(can_id >> 18, 11), 1, 1, *plain_bits.number(can_id & 0x3FFFF, 18), 0]
        else:
            head = [0, *plain_bits.number(can_id, 11), 0, 0]
        head += [1, 0, 0, 0, 1, 1, 1, 1]  # FDF, res, BRS, ESI, length code 15
        rows += [(0, 0, can_id, flags, _most_stuffed(head, 64)), (0, 0, can_id, flags, rng.bytes(64))]
    # 0101...: without any stuff bit where the identifier has none either
    rows.append((0, 0, 0x0AAAAAAA if extended else 0x2AA, flags, b"\x55" * 64))
    bits = wire_bits(batch_of(rows))
    assert bits.min() == unstuffed
    assert bits.max() <= longest
    assert bits[0] == len(plain_bits.fd(0, rows[0][4], extended=extended).bits)
    # every fourth data bit brings a stuff bit at the least, which is 128 of the 133 or 138 that the bound allows
    assert bits[:-1:2].min() >= unstuffed + 128


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
    # the same frames as in test_plain_bits.py, whose sources stand there; 13 bits follow the CRC of a classic frame
    extended, remote = FrameFlag.EXTENDED.value, FrameFlag.REMOTE.value
    rows: list[tuple[Row, int]] = [
        ((0, 0, 0x014, 0, b"\x01"), 58),
        ((0, 0, 0x0C1, 0, bytes.fromhex("4001087500000000")), 108 + 13),
        ((0, 0, 0x000, 0, b""), 40 + 13),
        ((0, 0, 0x123, 0, bytes.fromhex("DEADBEEF")), 68 + 13),
        ((0, 0, 0x123, remote, b""), 35 + 13),
        ((0, 0, 0x7FF, 0, b"\xff" * 8), 113 + 13),
        ((0, 0, 0x18FEF100, extended, b"\xff" * 8), 146),
        ((0, 0, 0x12345678, extended, b"\x01\x02\x03"), 82 + 13),
        ((0, 0, 0x5AA, (FrameFlag.FD | FrameFlag.BRS).value, b"\xff" * 8), 138),
    ]
    assert wire_bits(batch_of([row for row, _ in rows])).tolist() == [bits for _, bits in rows]


def test_a_frame_with_bit_rate_switch_takes_time_at_both_rates() -> None:
    # The published FD frame of test_plain_bits.py, 138 bits. Counted by hand in its bit list: 17 bits without a stuff bit
    # up to BRS, and acknowledgement 2, end of frame 7, intermission 3; the rest is sent at the data rate
    flags = FrameFlag.FD.value
    switched = flags | FrameFlag.BRS.value
    nominal, fast = wire_bit_parts(batch_of([(0, 0, 0x5AA, switched, b"\xff" * 8), (0, 0, 0x5AA, flags, b"\xff" * 8)]))
    assert (nominal[0], fast[0]) == (17 + 12, 138 - 29)
    assert fast[1] == 0  # without the switch all bits are sent at one rate
    assert nominal[1] == len(plain_bits.fd(0x5AA, b"\xff" * 8).bits)
    # at 500 kbit/s and 2 Mbit/s
    assert 2000 * nominal[0] + 500 * fast[0] == 58_000 + 54_500  # ns


def test_an_fd_frame_in_a_narrow_batch_is_padded_with_zeros() -> None:
    narrow = batch_of([(0, 0, 0x123, FrameFlag.FD.value, b"\x12" * 8)], [10])
    assert wire_bits(narrow).tolist() == [len(plain_bits.fd(0x123, b"\x12" * 8 + bytes(4)).bits)]


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


def test_columns_that_no_sound_frame_has_are_counted_all_the_same() -> None:
    # a remote flag on an FD frame, which has no remote form, and identifiers too wide for their frame
    fd, extended = FrameFlag.FD.value, FrameFlag.EXTENDED.value
    odd = batch_of(
        [(0, 0, 0x123, fd | FrameFlag.REMOTE, b"\0"), (0, 0, 0xF923, 0, b"\0"), (0, 0, 0xE0000123, extended, b"\0")]
    )
    sound = batch_of([(0, 0, 0x123, fd, b"\0"), (0, 0, 0x123, 0, b"\0"), (0, 0, 0x123, extended, b"\0")])
    assert wire_bits(odd).tolist() == wire_bits(sound).tolist()


def test_an_empty_batch_has_no_bits() -> None:
    assert wire_bits(batch_of([])).tolist() == []


def test_load_of_a_hundred_frames_a_second() -> None:
    # 100 frames/s of 8 bytes at 250 kbit/s are 4.44 % to 5.40 % of the bus (from the lengths 111 and 135 above)
    rng = np.random.default_rng(3)
    rows = [(0, 0, int(rng.integers(0, 0x800)), 0, rng.bytes(8)) for _ in range(100)]
    load = 100 * wire_bits(batch_of(rows)).sum() / 250_000
    assert 4.44 <= load <= 5.40
