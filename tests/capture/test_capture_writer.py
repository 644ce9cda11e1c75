"""What the writer promises: on the disk in time, totals in between, parts that can be read alone."""

from __future__ import annotations

import json
import os
import warnings
from collections import Counter
from pathlib import Path
from typing import Any, BinaryIO

import pcapng
import pytest
from frame_rows import Row, batch_of
from hypothesis import given, settings
from hypothesis import strategies as st
from pcapng.blocks import EnhancedPacket, InterfaceDescription, InterfaceStatistics, SectionHeader
from plain_pcapng import interface, packet, section

from benchcheck.capture.logs import open_recording
from benchcheck.capture.parts import part_path, parts_of
from benchcheck.capture.pcapng_reader import CaptureReader
from benchcheck.capture.pcapng_writer import CALL_NS, DELAY_NS, STATISTICS_NS, CaptureWriter
from benchcheck.capture.recording import LineChunk, Mark
from benchcheck.capture.rotating_writer import RotatingWriter
from benchcheck.words.errors import InputError, SetupError
from benchcheck.words.frames import FrameBatch
from benchcheck.words.recorder_gap import RecorderGap

START = 1_700_000_000_000_000_000
SECOND = 1_000_000_000


def rows_from(first: int, count: int) -> list[Row]:
    return [(START + k * SECOND // 10, 0, 0x100 + k % 7, 0, bytes((k % 256,))) for k in range(first, first + count)]


def frames_in(path: Path) -> list[int]:
    with CaptureReader(path) as reader:
        return [int(t) for item in reader if isinstance(item, FrameBatch) for t in item.time_ns]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, CALL_NS), st.booleans()), min_size=1, max_size=40))
def test_what_was_written_is_on_the_disk_within_half_a_second(calls: list[tuple[int, bool]]) -> None:
    # time is a value: any rhythm of calls no longer apart than CALL_NS, with or without traffic between them
    import tempfile

    synced: list[int] = []
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        now = 0
        patch.setattr(os, "fsync", lambda number: synced.append(now))
        with CaptureWriter(Path(folder) / "a.pcapng") as writer:
            bus = writer.add_bus("can1")
            writer.keep_up(now)
            written: list[tuple[int, int]] = []  # (latest time at which it was written, syncs before it)
            for step, traffic in calls:
                if traffic:
                    writer.write_frames(bus, batch_of(rows_from(0, 1)))
                    written.append((now, len(synced)))  # right after the call before
                now += step
                writer.keep_up(now)
            for _ in range(4):
                now += CALL_NS
                writer.keep_up(now)
            for when, before in written:
                assert synced[before] - when <= DELAY_NS
    assert DELAY_NS == SECOND // 2


def test_every_keep_up_hands_it_to_the_system(tmp_path: Path) -> None:
    with CaptureWriter(tmp_path / "a.pcapng") as writer:
        bus = writer.add_bus("can1")
        for k in range(5):
            writer.write_frames(bus, batch_of(rows_from(k, 1)))
            writer.keep_up(k)
            assert len(frames_in(tmp_path / "a.pcapng")) == k + 1


def test_totals_are_written_regularly(tmp_path: Path) -> None:
    path = tmp_path / "a.pcapng"
    with CaptureWriter(path) as writer:
        bus, line = writer.add_bus("can1"), writer.add_line("gps")
        for k in range(1, 6):
            writer.write_frames(bus, batch_of(rows_from(k, 3)))
            writer.write_bytes(line, START, b"x")
            writer.dropped(bus, 2 * k)
            writer.keep_up(k * STATISTICS_NS)
    with warnings.catch_warnings(), path.open("rb") as file:
        warnings.simplefilter("ignore", DeprecationWarning)
        blocks = [item for item in pcapng.FileScanner(file) if isinstance(item, InterfaceStatistics)]
    found = [(item.interface_id, item.options["isb_ifrecv"], item.options["isb_ifdrop"]) for item in blocks]
    # python-pcapng reads them back: running totals, the last ones at the end, nothing that did not change
    assert found == [(0, 6, 4), (1, 2, 0), (0, 9, 6), (1, 3, 0), (0, 12, 8), (1, 4, 0), (0, 15, 10), (1, 5, 0)]
    with CaptureReader(path) as reader:
        assert list(reader)
        assert reader.dropped_frames == 10


def test_a_bus_of_which_everything_was_dropped_tells_it(tmp_path: Path) -> None:
    with CaptureWriter(tmp_path / "a.pcapng") as writer:
        writer.dropped(writer.add_bus("can1"), 7)
    with CaptureReader(tmp_path / "a.pcapng") as reader:
        assert not list(reader)
        assert reader.dropped_frames == 7


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_is_said_in_words(tmp_path: Path) -> None:
    writer = CaptureWriter(tmp_path / "a.pcapng")
    bus = writer.add_bus("can1")
    writer._file.close()
    writer._file = Path("/dev/full").open("wb")  # noqa: SIM115
    writer.write_frames(bus, batch_of(rows_from(0, 1)))
    with pytest.raises(SetupError, match="No space left") as caught:
        writer.keep_up(SECOND)
    assert caught.value.where == str(tmp_path / "a.pcapng")
    assert caught.value.hint
    with pytest.raises(SetupError, match="No space left"):
        writer.close()
    writer.close()


def write_parts(folder: Path, **limits: int) -> RotatingWriter:
    with RotatingWriter(folder / "night.pcapng", hardware="test bench", **limits) as writer:
        bus, line = writer.add_bus("can1", 250_000), writer.add_line("gps", "nmea0183", 4800)
        for k in range(20):
            writer.write_frames(bus, batch_of(rows_from(10 * k, 10)))
            writer.write_bytes(line, START + k * SECOND, b"$GPZDA\r\n")
            writer.dropped(bus, k)
            writer.keep_up(k * SECOND)
        writer.mark(START + 20 * SECOND, "step_started", {"step": "S1"})
    return writer


@pytest.mark.parametrize(("limits", "parts"), [({"max_ns": 5 * SECOND}, 5), ({"max_bytes": 3000}, 4), ({}, 1)])
def test_parts_are_whole_captures_each(tmp_path: Path, limits: dict[str, int], parts: int) -> None:
    writer = write_parts(tmp_path, **limits)
    assert [path.name for path in writer.parts] == [f"night.{k:04}.pcapng" for k in range(1, parts + 1)]
    assert sorted(tmp_path.iterdir()) == writer.parts
    times: list[int] = []
    chunks = dropped = 0
    for number, path in enumerate(writer.parts, 1):
        with CaptureReader(path) as reader:
            items = list(reader)
        assert [(bus.name, bus.bitrate) for bus in reader.buses] == [("can1", 250_000)]
        assert [(line.name, line.protocol, line.baud) for line in reader.lines] == [("gps", "nmea0183", 4800)]
        marks = [item for item in items if isinstance(item, Mark)]
        if number > 1:
            previous = part_path(tmp_path / "night.pcapng", number - 1).name
            assert marks[0].kind == "continued"
            assert marks[0].body == {"part": number, "previous": previous}
            assert items[0] is marks[0]
        if number < parts:
            assert marks[-1].kind == "continues"
            assert marks[-1].body == {"next": writer.parts[number].name}
        times += [int(t) for item in items if isinstance(item, FrameBatch) for t in item.time_ns]
        chunks += sum(isinstance(item, LineChunk) for item in items)
        dropped += reader.dropped_frames
        with warnings.catch_warnings(), path.open("rb") as file:
            warnings.simplefilter("ignore", DeprecationWarning)
            head = next(iter(pcapng.FileScanner(file)))
        assert isinstance(head, SectionHeader)
        assert head.options["opt_comment"] == f"part {number} of night"
        if limits.get("max_bytes"):
            assert path.stat().st_size < 3000 + 10 * 48 + 500  # a write that fills it stays whole
    assert times == [row[0] for row in rows_from(0, 200)]
    assert (chunks, dropped) == (20, 19)


def test_all_parts_are_read_as_one(tmp_path: Path) -> None:
    writer = write_parts(tmp_path, max_ns=5 * SECOND)
    (tmp_path / "night.12345.pcapng").touch()
    (tmp_path / "other.0001.pcapng").touch()
    assert parts_of(tmp_path / "night.pcapng") == writer.parts
    assert parts_of(writer.parts[0]) == []
    with open_recording(tmp_path / "night.pcapng") as recording:
        items = list(recording)
    assert [int(t) for i in items if isinstance(i, FrameBatch) for t in i.time_ns] == [r[0] for r in rows_from(0, 200)]
    assert ([bus.name for bus in recording.buses], [line.name for line in recording.lines]) == (["can1"], ["gps"])
    assert (recording.dropped_frames, recording.notes, recording.truncated) == (19, [], False)
    # one part is gone, and the last one was cut
    writer.parts[2].unlink()
    data = writer.parts[3].read_bytes()
    writer.parts[3].write_bytes(data[:-7])
    with open_recording(tmp_path / "night.pcapng") as recording:
        list(recording)
    assert recording.truncated
    assert recording.notes[0] == "part 3 is missing: nothing is known of its time"
    assert recording.notes[1].startswith("night.0004.pcapng: damaged from byte")


def test_parts_that_are_there_stay(tmp_path: Path) -> None:
    write_parts(tmp_path, max_ns=5 * SECOND)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(InputError, match="is there already"):
        RotatingWriter(tmp_path / "night.pcapng")
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.parametrize("limits", [{"max_bytes": 0}, {"max_ns": -1}])
def test_limits_that_make_no_sense(tmp_path: Path, limits: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="some size"):
        RotatingWriter(tmp_path / "night.pcapng", **limits)
    assert not list(tmp_path.iterdir())


def test_a_capture_that_stays_in_one_part_keeps_its_name(tmp_path: Path) -> None:
    path = tmp_path / "live.pcapng"
    with RotatingWriter(path, max_ns=60 * SECOND, first_alone=True) as writer:
        bus = writer.add_bus("can1")
        writer.write_frames(bus, batch_of(rows_from(0, 100)))
    assert writer.parts == [path]
    assert [item.name for item in tmp_path.iterdir()] == ["live.pcapng"]
    with path.open("rb") as file:
        assert "opt_comment" not in next(iter(blocks_of(file))).options


def test_the_first_part_gets_its_number_when_the_second_begins(tmp_path: Path) -> None:
    path = tmp_path / "live.pcapng"
    with RotatingWriter(path, max_ns=5 * SECOND, first_alone=True) as writer:
        bus = writer.add_bus("can1")
        for k in range(12):
            writer.write_frames(bus, batch_of(rows_from(10 * k, 10)))
            assert path.exists() == (k < 5)
    assert [part.name for part in writer.parts] == [f"live.{k:04}.pcapng" for k in (1, 2, 3)]
    assert sorted(tmp_path.iterdir()) == writer.parts == parts_of(path)
    with open_recording(path) as recording:
        items = list(recording)
    assert [int(t) for i in items if isinstance(i, FrameBatch) for t in i.time_ns] == [
        row[0] for row in rows_from(0, 120)
    ]
    marks = [item.body for item in items if isinstance(item, Mark)]
    assert marks[:2] == [{"next": "live.0002.pcapng"}, {"part": 2, "previous": "live.0001.pcapng"}]
    assert recording.notes == []


def test_a_capture_is_not_begun_where_one_of_its_name_is_there_in_parts(tmp_path: Path) -> None:
    part_path(tmp_path / "live.pcapng", 3).write_bytes(b"evidence")
    with pytest.raises(InputError, match="in parts"):
        RotatingWriter(tmp_path / "live.pcapng", first_alone=True)
    assert len(list(tmp_path.iterdir())) == 1


def blocks_of(file: BinaryIO) -> list[Any]:
    """All blocks as python-pcapng, a general-purpose reader, finds them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # its own, of options without a type
        return list(pcapng.FileScanner(file))


def test_an_independent_reader_finds_all_of_a_capture_in_parts(tmp_path: Path) -> None:
    rows = rows_from(0, 400)
    written: dict[str, list[bytes]] = {"gps": [], "depth": []}
    with RotatingWriter(tmp_path / "live.pcapng", max_ns=10 * SECOND, hardware="launch", first_alone=True) as writer:
        bus, gps = writer.add_bus("can1", 250_000, 2_000_000), writer.add_line("gps", "nmea0183", 4800)
        for k in range(40):
            writer.write_frames(bus, batch_of(rows[10 * k : 10 * k + 10]))
            writer.write_bytes(gps, START + k * SECOND, b"$GPZDA,%d\r\n" % k)
            written["gps"].append(b"\1\0$GPZDA,%d\r\n" % k)
            if k == 15:
                depth = writer.add_line("depth")  # interfaces may come late, and are in every part from then on
            if k > 15:
                writer.write_bytes(depth, START + k * SECOND, b"x" * (k % 5), sent=k % 2 == 0, framing_errors=k % 3)
                written["depth"].append(bytes((2, k % 2 == 0, 0, k % 3)) + b"x" * (k % 5))
            if k == 27:
                writer.gap(RecorderGap(START + 26 * SECOND, START + 27 * SECOND, "too fast", "can1", dropped=3))
                writer.dropped(bus, 3)
            writer.keep_up(k * SECOND)
    found: dict[str, list[bytes]] = {"can1": [], "gps": [], "depth": [], "marks": []}
    received, dropped = Counter[str](), Counter[str]()
    for number, path in enumerate(writer.parts, 1):
        with path.open("rb") as file:
            blocks = blocks_of(file)
        head, rest = blocks[0], blocks[1:]
        assert (head.options["shb_hardware"], head.options["shb_userappl"]) == ("launch", "benchcheck")
        interfaces = {item.interface_id: item for item in rest if isinstance(item, InterfaceDescription)}
        names = {k: item.options["if_name"] for k, item in interfaces.items()}
        assert names == {0: "marks", 1: "can1", 2: "gps"} | ({3: "depth"} if number >= 2 else {})
        assert [item.link_type for item in interfaces.values()] == [148, 227, 147, 147][: len(names)]
        assert interfaces[1].options["if_speed"] == 250_000
        assert interfaces[1].options["if_description"] == "data_bitrate=2000000"
        assert {item.timestamp_resolution for item in interfaces.values()} == {1e-9}
        totals: dict[str, Any] = {}
        for item in rest:
            if isinstance(item, EnhancedPacket):
                found[names[item.interface_id]].append(item.packet_data)
            elif isinstance(item, InterfaceStatistics):
                totals[names[item.interface_id]] = item.options  # running totals: the last ones hold
        received.update({name: options["isb_ifrecv"] for name, options in totals.items()})
        dropped.update({name: options["isb_ifdrop"] for name, options in totals.items()})
    assert len(writer.parts) == 4
    assert [data[8:9] for data in found["can1"]] == [row[4] for row in rows]
    assert {name: found[name] for name in written} == written
    assert received == {"can1": 400, "gps": 40, "depth": 24}
    assert +dropped == {"can1": 3}
    kinds = [json.loads(data)["kind"] for data in found["marks"]]
    assert kinds == ["continues", "continued"] * 2 + ["gap"] + ["continues", "continued"]
    with open_recording(tmp_path / "live.pcapng") as recording:
        chunks = [item for item in recording if isinstance(item, LineChunk)]
    told = [(c.sent, c.framing_errors, c.data) for c in chunks if recording.lines[c.line].name == "depth"]
    assert told == [(k % 2 == 0, k % 3, b"x" * (k % 5)) for k in range(16, 40)]
    assert {c.framing_errors for c in chunks if recording.lines[c.line].name == "gps"} == {None}
    assert recording.dropped_frames == 3
    assert [gap.why for gap in recording.recorder_gaps] == ["too fast"]


@pytest.mark.parametrize("payload", [b"", b"\1", b"\2\0", b"\2\0\0", b"\3\0\0\0abc"])
def test_line_packets_of_no_known_version_are_counted(tmp_path: Path, payload: bytes) -> None:
    data = section("<") + interface(147, "<", b"gps") + packet(0, START, payload, "<")
    (tmp_path / "a.pcapng").write_bytes(data + packet(0, START, b"\2\0\0\1abc", "<"))
    with CaptureReader(tmp_path / "a.pcapng") as reader:
        assert list(reader) == [LineChunk(0, START, False, b"abc", 1)]
    assert reader.bad_records == 1
