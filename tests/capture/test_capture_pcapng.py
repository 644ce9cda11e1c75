"""Captures: written and read back, cut, damaged, and laid out by the published format."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest
from frame_rows import Row, batch_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchcheck.capture.logs import open_recording
from benchcheck.capture.pcapng_reader import CaptureReader
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.capture.recording import LineChunk, Mark, Traffic
from benchcheck.words.errors import InputError
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameBatch, FrameFlag

START = 1_700_000_000_123_456_789
ROWS: list[Row] = [
    (START, 0, 0x123, 0, b"\x01\x02\x03"),
    (START + 1, 0, 0x18FEF100, FrameFlag.EXTENDED.value, b"\xff" * 8),
    (START + 2, 0, 0x7FF, FrameFlag.SENT.value, b""),
    (START + 3, 0, 0x5AA, (FrameFlag.FD | FrameFlag.BRS | FrameFlag.ESI).value, bytes(range(64))),
    (START + 4, 0, 0x321, 13 << RAW_DLC_SHIFT, bytes(8)),
    (START + 5, 0, 0x88, FrameFlag.ERROR.value, b"\0\4\0\0\0\0\0\0"),
]


def read(path: Path) -> tuple[list[Traffic], CaptureReader]:
    with CaptureReader(path) as reader:
        return list(reader), reader  # type: ignore[return-value]


def rows_of(items: list[Traffic]) -> list[Row]:
    return [
        (int(b.time_ns[k]), int(b.bus[k]), int(b.can_id[k]), int(b.flags[k]), bytes(b.data[k][: b.length[k]]))
        for b in items
        if isinstance(b, FrameBatch)
        for k in range(len(b))
    ]


def sample(path: Path) -> Path:
    with CaptureWriter(path, hardware="test bench") as writer:
        bus = writer.add_bus("can1", 250_000, 2_000_000)
        line = writer.add_line("position", "nmea0183", 4800)
        writer.mark(START, "power_on", {"feed": "24V main"})
        writer.write_frames(bus, batch_of(ROWS))
        writer.write_bytes(line, START + 6, b"$GPBOD,,T,,M,,*47\r\n")
        writer.write_bytes(line, START + 7, b"?", sent=True)
        writer.statistics(bus, START + 8, received=6, dropped=0)
        writer.statistics(bus, START + 9, received=6, dropped=4)
    return path


def test_what_was_written_is_read_back(tmp_path: Path) -> None:
    items, reader = read(sample(tmp_path / "a.pcapng"))
    assert items[0] == Mark(START, "power_on", {"feed": "24V main"})
    assert rows_of(items) == ROWS
    assert items[2:] == [
        LineChunk(0, START + 6, False, b"$GPBOD,,T,,M,,*47\r\n"),
        LineChunk(0, START + 7, True, b"?"),
    ]
    (bus,), (line,) = reader.buses, reader.lines
    assert (bus.name, bus.bitrate, bus.data_bitrate) == ("can1", 250_000, 2_000_000)
    assert (line.name, line.protocol, line.baud) == ("position", "nmea0183", 4800)
    assert (reader.bad_records, reader.truncated, reader.dropped_frames) == (0, False, 4)


def test_remote_frames_keep_the_length_they_ask_for(tmp_path: Path) -> None:
    with CaptureWriter(tmp_path / "a.pcapng") as writer:
        bus = writer.add_bus("can1")
        writer.write_frames(bus, batch_of([(START, 0, 0x10, FrameFlag.REMOTE.value, b"")], [5]))
    items, reader = read(tmp_path / "a.pcapng")
    (batch,) = items
    assert isinstance(batch, FrameBatch)
    assert (int(batch.length[0]), int(batch.flags[0])) == (5, FrameFlag.REMOTE)
    assert reader.buses[0].bitrate is None


def test_a_capture_is_never_written_over(tmp_path: Path) -> None:
    path = sample(tmp_path / "a.pcapng")
    before = path.read_bytes()
    with pytest.raises(InputError, match="is there already"):
        CaptureWriter(path)
    assert path.read_bytes() == before


def test_what_was_flushed_can_be_read_while_it_is_written(tmp_path: Path) -> None:
    with CaptureWriter(tmp_path / "a.pcapng") as writer:
        writer.write_frames(writer.add_bus("can1"), batch_of(ROWS))
        writer.flush()
        assert rows_of(read(tmp_path / "a.pcapng")[0]) == ROWS


def test_a_capture_cut_anywhere_reads_up_to_its_last_whole_block(tmp_path: Path) -> None:
    data = sample(tmp_path / "a.pcapng").read_bytes()
    cut = tmp_path / "cut.pcapng"
    seen = 0
    for end in range(28, len(data), 3):
        cut.write_bytes(data[:end])
        items, reader = read(cut)
        frames = len(rows_of(items))
        assert frames >= seen  # never fewer than of a shorter cut
        assert rows_of(items) == ROWS[:frames]
        assert reader.truncated == (reader.bad_records == 1)
        seen = frames
    assert seen == len(ROWS)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(4, 700), st.integers(0, 255)), min_size=1, max_size=6))
def test_damage_never_raises(tmp_path: Path, spots: list[tuple[int, int]]) -> None:
    path = tmp_path / "whole.pcapng"
    data = bytearray(path.read_bytes() if path.exists() else sample(path).read_bytes())
    for place, value in spots:
        data[place % len(data)] = value
    data[:4] = b"\x0a\x0d\x0d\x0a"
    (tmp_path / "hurt.pcapng").write_bytes(data)
    items, _ = read(tmp_path / "hurt.pcapng")
    for item in items:
        if isinstance(item, FrameBatch):
            assert item.can_id.max() <= 0x1FFFFFFF


def test_damage_says_where(tmp_path: Path) -> None:
    data = sample(tmp_path / "a.pcapng").read_bytes()
    (tmp_path / "b.pcapng").write_bytes(data[:-5])
    _, reader = read(tmp_path / "b.pcapng")
    assert reader.truncated
    assert f"from byte {len(data) - 52} on" in reader.notes[0]


def test_bad_frames_and_marks_are_counted_and_passed_over(tmp_path: Path) -> None:
    with CaptureWriter(tmp_path / "a.pcapng") as writer:
        bus = writer.add_bus("can1", 250_000)
        writer.mark(START, "first")
        writer.write_frames(bus, batch_of([(START, 0, 0x800, 0, b"")]))  # too high for 11 bits
        writer.write_frames(bus, batch_of([ROWS[0]]))
    whole = (tmp_path / "a.pcapng").read_bytes()
    (tmp_path / "b.pcapng").write_bytes(whole.replace(b'{"kind": "first"}', b'{"kind": broken!}'))
    items, reader = read(tmp_path / "b.pcapng")
    assert rows_of(items) == [ROWS[0]]
    assert reader.bad_records == 2
    assert not reader.truncated


def test_layout_by_the_published_format(tmp_path: Path) -> None:
    # IETF draft-ietf-opsawg-pcapng, section 4; LINKTYPE_CAN_SOCKETCAN as in the link-type registry of tcpdump.org
    with CaptureWriter(tmp_path / "a.pcapng") as writer:
        writer.write_frames(writer.add_bus("can1", 250_000), batch_of([ROWS[1]]))
    data = (tmp_path / "a.pcapng").read_bytes()
    kind, total, magic, major, minor, section = struct.unpack_from("<IIIHHq", data)
    assert (kind, magic, major, minor, section) == (0x0A0D0D0A, 0x1A2B3C4D, 1, 0, -1)
    assert struct.unpack_from("<I", data, total - 4) == (total,)
    kind, length, link, _, snap = struct.unpack_from("<IIHHI", data, total)
    assert (kind, link, snap) == (1, 227, 0)
    packet = total + length
    kind, size, interface, high, low, caught, original = struct.unpack_from("<IIIIIII", data, packet)
    assert (kind, interface, caught, original) == (6, 0, 16, 16)
    assert (high << 32) | low == START + 1
    assert data[packet + 28 : packet + 44] == bytes.fromhex("98FEF100 08 00 00 00 FFFFFFFFFFFFFFFF")
    assert struct.unpack_from("<I", data, packet + size) == (5,)  # Interface Statistics Block, with the totals


def option(code: int, value: bytes, order: str) -> bytes:
    return struct.pack(order + "HH", code, len(value)) + value + bytes(-len(value) % 4)


def block(kind: int, body: bytes, order: str) -> bytes:
    body += bytes(-len(body) % 4)
    return struct.pack(order + "II", kind, len(body) + 12) + body + struct.pack(order + "I", len(body) + 12)


@pytest.mark.parametrize("order", ["<", ">"])
def test_captures_of_other_recorders(tmp_path: Path, order: str) -> None:
    # made by hand after the draft: either byte order, stamps in microseconds (the default) or in 2^-20 s, an offset,
    # unknown blocks and link types in between, a second section
    head = block(0x0A0D0D0A, struct.pack(order + "IHHq", 0x1A2B3C4D, 1, 0, -1), order)
    plain = block(1, struct.pack(order + "HHI", 227, 0, 0) + option(2, b"can0", order), order)
    binary = block(
        1,
        struct.pack(order + "HHI", 227, 0, 0)
        + option(2, b"can1", order)
        + option(9, b"\x94", order)
        + option(14, struct.pack(order + "q", 1000), order),
        order,
    )
    other = block(1, struct.pack(order + "HHI", 1, 0, 0), order)

    def packet(interface: int, ticks: int) -> bytes:
        payload = bytes.fromhex("00000123 02 00 00 00 AABB")
        body = struct.pack(order + "IIIII", interface, ticks >> 32, ticks & 0xFFFFFFFF, len(payload), len(payload))
        return block(6, body + payload, order)

    micro = 1_700_000_000_000_001
    data = head + plain + block(0x0BAD, b"1234", order) + binary + other
    data += packet(0, micro) + packet(1, 5 << 20) + packet(2, 1) + head + binary + packet(0, 6 << 20)
    (tmp_path / "a.pcapng").write_bytes(data)
    items, reader = read(tmp_path / "a.pcapng")
    assert [(row[0], row[1]) for row in rows_of(items)] == [
        (micro * 1000, 0),
        (1005 * 10**9, 1),
        (1006 * 10**9, 1),
    ]
    assert [bus.name for bus in reader.buses] == ["can0", "can1"]
    assert (reader.bad_records, reader.other_records) == (0, 2)


def test_no_capture_at_all(tmp_path: Path) -> None:
    (tmp_path / "a.pcapng").write_bytes(b"no capture")
    with pytest.raises(InputError, match="no pcapng capture"):
        open_recording(tmp_path / "a.pcapng")


def test_a_long_capture_comes_in_batches_of_columns(tmp_path: Path) -> None:
    count = 150_000
    batch = FrameBatch(
        START + np.arange(count, dtype=np.int64),
        np.zeros(count, np.uint16),
        np.full(count, 0x123, np.uint32),
        np.zeros(count, np.uint16),
        np.full(count, 8, np.uint8),
        np.zeros((count, 8), np.uint8),
    )
    with CaptureWriter(tmp_path / "a.pcapng") as writer:
        writer.write_frames(writer.add_bus("can1"), batch)
    items, _ = read(tmp_path / "a.pcapng")
    assert sum(len(item) for item in items if isinstance(item, FrameBatch)) == count
    assert len(items) == 3  # batches of some 65,536
    assert np.array_equal(
        np.concatenate([item.time_ns for item in items if isinstance(item, FrameBatch)]), batch.time_ns
    )


def test_marks_are_json_with_a_kind(tmp_path: Path) -> None:
    data = sample(tmp_path / "a.pcapng").read_bytes()
    text = data[data.index(b'{"feed"') :].split(b"}")[0] + b"}"
    assert json.loads(text) == {"kind": "power_on", "feed": "24V main"}
