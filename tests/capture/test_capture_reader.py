"""The reader against an independent one, and what it makes of foreign, cut and spoilt files."""

from __future__ import annotations

import random
import struct
from pathlib import Path

import numpy as np
import pytest
from frame_rows import Row, batch_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plain_pcapng import block, can_payload, interface, option, packet, read_independently, section

from benchcheck.capture import file_window
from benchcheck.capture.pcapng_reader import CaptureReader
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.capture.recording import LineChunk, Mark
from benchcheck.words.frames import FD_LENGTHS, FrameBatch, FrameFlag

START = 1_700_000_000_123_456_789
ORDERS = ("<", ">")


def frames_of(path: Path, *, gathered: bool = False) -> tuple[list[Row], CaptureReader, list[object]]:
    rows: list[Row] = []
    items: list[object] = []
    with CaptureReader(path, gathered=gathered) as reader:
        for item in reader:
            items.append(item)
            if isinstance(item, FrameBatch):
                assert not item.data[np.arange(item.data.shape[1]) >= item.length[:, None]].any()
                rows += [
                    (
                        int(item.time_ns[k]),
                        int(item.bus[k]),
                        int(item.can_id[k]),
                        int(item.flags[k]),
                        b"" if item.flags[k] & 2 else bytes(item.data[k][: item.length[k]]),
                    )
                    for k in range(len(item))
                ]
    return rows, reader, items


def random_rows(seed: int, count: int, *, fd: bool = True, sent: bool = True) -> tuple[list[Row], list[int]]:
    """Sound frames of every kind, and their lengths."""
    rng = random.Random(seed)
    rows, lengths = [], []
    for k in range(count):
        kind = rng.choice(["base", "base", "extended", "extended", "remote", "error", "code", "fd" if fd else "base"])
        flags = 64 if sent and rng.random() < 0.2 else 0
        length = rng.randrange(9)
        can_id = rng.randrange(0x800)
        if kind == "extended" or (kind in ("remote", "fd") and rng.random() < 0.5):
            flags, can_id = flags | 1, rng.randrange(1 << 29)
        if kind == "remote":
            flags |= 2
        elif kind == "error":
            flags |= 4
        elif kind == "code":
            flags, length = flags | rng.randrange(9, 16) << 8, 8
        elif kind == "fd":
            flags, length = flags | 8 | rng.choice((0, 16, 32, 48)), rng.choice(sorted(FD_LENGTHS))
        data = b"" if kind == "remote" else rng.randbytes(length)
        # words that look like the type or the length of a block must not lead the reader astray
        if len(data) == 8 and rng.random() < 0.3:
            data = struct.pack("<II", 6, rng.choice((32, 40, 44, 48)))
        rows.append((START + k * 1000, 0, can_id, flags, data))
        lengths.append(length)
    return rows, lengths


@pytest.mark.parametrize("seed", range(6))
def test_what_the_writer_writes_an_independent_reader_reads(tmp_path: Path, seed: int) -> None:
    rows, lengths = random_rows(seed, 600, fd=seed % 2 == 0, sent=seed % 3 == 0)
    path = tmp_path / "a.pcapng"
    with CaptureWriter(path) as writer:
        first, second = writer.add_bus("can1", 250_000), writer.add_bus("can2", 500_000)
        writer.write_frames(first, batch_of(rows[:400], lengths[:400]))
        writer.mark(START, "step_started")
        writer.write_frames(second, batch_of(rows[400:], lengths[400:]))
    wanted = rows[:400] + [(t, 1, i, f, d) for t, _, i, f, d in rows[400:]]
    assert read_independently(path) == wanted  # python-pcapng, a general-purpose reader
    found, reader, _ = frames_of(path)
    assert found == wanted
    assert (reader.bad_records, reader.truncated, reader.other_records) == (0, False, 0)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 1 << 30), st.sampled_from(ORDERS), st.sampled_from([1024, 4096, 1 << 20]))
def test_any_mix_of_blocks_is_read_the_same_in_any_window(tmp_path: Path, seed: int, order: str, window: int) -> None:
    # frames of any kind with and without spare bytes and options of any sort, lines, foreign blocks and link types
    rng = random.Random(seed)
    rows, lengths = random_rows(seed, 300)
    data = section(order) + interface(227, order) + interface(1, order) + interface(227, order, b"can1")
    wanted, others, bad = [], 0, 0
    for k, (time_ns, _, can_id, flags, content) in enumerate(rows):
        options = option(2, struct.pack(order + "I", 2), order) if flags & 64 else b""
        if rng.random() < 0.2:
            options = option(1, b"a comment"[: rng.randrange(10)], order) + options
        if rng.random() < 0.05:
            options += option(1, b"x" * 1500, order)
        if options and rng.random() < 0.7:
            options += option(0, b"", order)
        number = rng.choice((0, 0, 0, 2))
        payload = can_payload(can_id, flags & ~64, content, lengths[k], pad=rng.choice((0, 0, 0, 1, 4, 8)))
        data += packet(number, time_ns, payload, order, options)
        wanted.append((time_ns, number // 2, can_id, flags, content))
        if rng.random() < 0.05:
            data += rng.choice((block(0x0BAD, rng.randbytes(40), order), packet(1, 5, b"other", order)))
            others += 1
        if rng.random() < 0.05:
            data += rng.choice((packet(7, 5, payload, order), packet(0, time_ns, b"short", order)))
            bad += 1
    path = tmp_path / "a.pcapng"
    path.write_bytes(data)
    before, file_window.WINDOW_BYTES = file_window.WINDOW_BYTES, window
    try:
        found, reader, _ = frames_of(path)
    finally:
        file_window.WINDOW_BYTES = before
    assert found == wanted
    assert (reader.bad_records, reader.other_records, reader.truncated) == (bad, others, False)
    if others:
        assert "not for benchcheck" in reader.notes[0]


@pytest.mark.parametrize("order", ORDERS)
def test_unsound_frames_are_counted_and_nothing_else_is(tmp_path: Path, order: str) -> None:
    good = can_payload(0x123, 0, b"\1\2")
    unsound = [
        can_payload(0x800, 0, b""),  # beyond 11 bits
        can_payload(1, 0, b"\1\2", length=3),  # less data than said
        can_payload(1, 8, bytes(9)),  # no length of FD frames
        can_payload(1, 8 | 2, b""),  # FD has no remote frames
        can_payload(1, 2, b"", length=9),
        can_payload(1, 8, bytes(12), length=16),
        b"\0\0\0\1\0\0\0",  # no head
    ]
    data = section(order) + interface(227, order)
    for payload in unsound:
        data += packet(0, START, good, order) + packet(0, START, payload, order)
    data += packet(0, 1 << 63, good, order)  # a stamp in the year 2262
    (tmp_path / "a.pcapng").write_bytes(data)
    found, reader, _ = frames_of(tmp_path / "a.pcapng")
    assert len(found) == len(unsound)
    assert {row[2:] for row in found} == {(0x123, 0, b"\1\2")}
    assert (reader.bad_records, reader.truncated) == (len(unsound) + 1, False)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize(("resolution", "ticks", "wanted_ns"), [
    (6, 1_700_000_000_000_001, 1_700_000_000_000_001_000),
    (3, 1_700_000_000_001, 1_700_000_000_001_000_000),
    (0, 1_700_000_000, 1_700_000_000_000_000_000),
    (12, 1_700_000_000_000_001_999, 1_700_000_000_000_001),
    (0x80 | 20, (1_700_000_000 << 20) + 1, 1_700_000_000_000_000_953),  # 2^-20 s are 953.67 ns
    (0x80 | 40, (1_000_000 << 40) + (1 << 39), 1_000_000_500_000_000),
])  # fmt: skip
def test_stamps_of_every_resolution(tmp_path: Path, order: str, resolution: int, ticks: int, wanted_ns: int) -> None:
    # worked by hand after the draft's if_tsresol
    data = section(order) + interface(227, order, resolution=resolution)
    data += packet(0, ticks, can_payload(1, 0, b""), order) * 3
    (tmp_path / "a.pcapng").write_bytes(data)
    found, _, _ = frames_of(tmp_path / "a.pcapng")
    assert [row[0] for row in found] == [wanted_ns] * 3


def mixed_capture(path: Path) -> bytes:
    with CaptureWriter(path) as writer:
        bus, line = writer.add_bus("can1", 250_000), writer.add_line("gps", "nmea0183", 4800)
        for k in range(30):
            rows, lengths = random_rows(k, 40)
            writer.write_frames(bus, batch_of(rows, lengths))
            writer.write_bytes(line, START + k, b"$GPZDA,%d\r\n" % k)
            if k % 10 == 0:
                writer.mark(START + k, "step_started", {"step": k})
    return path.read_bytes()


def test_lines_and_marks_stay_in_file_order_unless_frames_are_gathered(tmp_path: Path) -> None:
    mixed_capture(tmp_path / "a.pcapng")
    found, _, items = frames_of(tmp_path / "a.pcapng")
    kinds = [type(item).__name__ for item in items]
    assert kinds[:4] == ["FrameBatch", "LineChunk", "Mark", "FrameBatch"]
    assert kinds.count("FrameBatch") == 30
    again, _, gathered = frames_of(tmp_path / "a.pcapng", gathered=True)
    assert again == found
    assert sum(isinstance(item, FrameBatch) for item in gathered) == 1
    for kind in (LineChunk, Mark):
        assert [item for item in gathered if isinstance(item, kind)] == [i for i in items if isinstance(i, kind)]


@pytest.fixture(scope="module")
def mixed(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, list[tuple[object, ...]]]:
    """A sound capture, and the frames in it."""
    path = tmp_path_factory.mktemp("mixed") / "whole.pcapng"
    return mixed_capture(path), frames_of(path)[0]


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_cut_anywhere_it_gives_what_stands_before_and_says_where(
    tmp_path: Path, mixed: tuple[bytes, list[tuple[object, ...]]], draw: st.DataObject
) -> None:
    data, rows = mixed
    end = draw.draw(st.integers(4, len(data) - 1))
    cut = tmp_path / "cut.pcapng"
    cut.write_bytes(data[:end])
    found, reader, _ = frames_of(cut)
    assert found == rows[: len(found)]
    ends, place = {0}, 0
    while place < len(data):
        place += int.from_bytes(data[place + 4 : place + 8], "little")
        ends.add(place)
    last = max(place for place in ends if place <= end)
    assert reader.truncated == (last != end)
    if last != end:
        assert f"damaged from byte {last} on" in reader.notes[0]
        assert reader.bad_records == 1


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(12, 1 << 20), st.integers(1, 255)), min_size=1, max_size=4))
def test_flipped_bytes_spoil_nothing_that_stands_before_them(
    tmp_path: Path, mixed: tuple[bytes, list[tuple[object, ...]]], spots: list[tuple[int, int]]
) -> None:
    original, rows = mixed
    data = bytearray(original)
    places = [12 + place % (len(data) - 12) for place, _ in spots]
    for place, (_, flip) in zip(places, spots, strict=True):
        data[place] ^= flip
    hurt = tmp_path / "hurt.pcapng"
    hurt.write_bytes(data)
    found, reader, items = frames_of(hurt)
    frames, place = 0, 0  # blocks of frames that end before the first flip
    while place + int.from_bytes(original[place + 4 : place + 8], "little") <= min(places):
        is_frame = original[place] == 6 and int.from_bytes(original[place + 8 : place + 12], "little") == 0
        frames += is_frame
        place += int.from_bytes(original[place + 4 : place + 8], "little")
    if place > 400:  # else the interfaces themselves are hurt
        assert found[:frames] == rows[:frames]
    for item in items:
        if isinstance(item, FrameBatch) and len(item):
            assert int(item.can_id.max()) <= 0x1FFFFFFF
            assert int(item.bus.max()) < len(reader.buses)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=400), st.sampled_from(ORDERS))
def test_garbage_behind_a_section_header_never_raises(tmp_path: Path, garbage: bytes, order: str) -> None:
    path = tmp_path / "a.pcapng"
    path.write_bytes(section(order) + interface(227, order) + garbage)
    _, reader, _ = frames_of(path)
    assert reader.truncated == bool(garbage)


def test_a_file_that_shrinks_while_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.pcapng"
    batch = batch_of(random_rows(1, 1000, fd=False)[0])
    with CaptureWriter(path) as writer:
        bus = writer.add_bus("can1")
        for _ in range(200):
            writer.write_frames(bus, batch)
    with CaptureReader(path) as reader:
        items = iter(reader)
        next(items)
        path.write_bytes(path.read_bytes()[:2_000_000])
        assert sum(len(item) for item in items if isinstance(item, FrameBatch)) < 200_000
        assert reader.truncated


def test_flags_of_frames_that_no_fd_flag_marks(tmp_path: Path) -> None:
    # recorders that know no FD flag write longer frames all the same
    data = section("<") + interface(227, "<") + packet(0, START, can_payload(5, 0, bytes(range(12))), "<")
    (tmp_path / "a.pcapng").write_bytes(data)
    found, _, _ = frames_of(tmp_path / "a.pcapng")
    assert found == [(START, 0, 5, FrameFlag.FD, bytes(range(12)))]


@pytest.mark.parametrize("order", ORDERS)
def test_drop_counts_of_packets_and_of_statistics_are_not_added_up_twice(tmp_path: Path, order: str) -> None:
    # options by the draft: epb_dropcount is 4, of the packets lost since the one before; isb_ifdrop is 5, a total
    lost = option(2, struct.pack(order + "I", 2), order) + option(4, struct.pack(order + "Q", 3), order)
    statistics = struct.pack(order + "III", 0, 0, 0) + option(5, struct.pack(order + "Q", 4), order)
    data = section(order) + interface(227, order)
    data += packet(0, START, can_payload(1, 0, b"\1"), order, lost) * 2 + block(5, statistics, order)
    (tmp_path / "a.pcapng").write_bytes(data)
    found, reader, _ = frames_of(tmp_path / "a.pcapng")
    assert [row[3] for row in found] == [64, 64]
    assert reader.dropped_frames == 6
