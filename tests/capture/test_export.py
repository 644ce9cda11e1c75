"""Captures written in every form that python-can writes: what is read back is what was said would be left."""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from frame_rows import Row, batch_of
from plain_pcapng import block, can_payload, interface, option, packet, section
from test_capture_reader import random_rows

from benchcheck.capture.export import export, export_form
from benchcheck.capture.log_losses import EXPORT_FORMS, PACKED_FORMS, Contents, Loss, look_through, losses
from benchcheck.capture.logs import open_recording
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.capture.recording import LineChunk, Mark, Recording
from benchcheck.words.errors import InputError
from benchcheck.words.frames import FrameBatch, FrameFlag
from benchcheck.words.recorder_gap import RecorderGap

START = 1_700_000_000_123_456_000
SENT, ERROR, REMOTE, FD = (int(flag) for flag in (FrameFlag.SENT, FrameFlag.ERROR, FrameFlag.REMOTE, FrameFlag.FD))
READ_BACK = [form for form in EXPORT_FORMS if form != ".txt"]


@dataclass(frozen=True)
class Frame:
    time_ns: int
    bus: str
    can_id: int
    flags: int
    length: int
    data: bytes


def capture(path: Path, rows: list[Row], lengths: list[int], names: tuple[str, ...] = ("nav", "aft")) -> Path:
    with CaptureWriter(path) as writer:
        buses = [writer.add_bus(name) for name in names]
        for row, length in zip(rows, lengths, strict=True):
            writer.write_frames(buses[row[1]], batch_of([row], [length]))
    return path


def frames_of(path: Path) -> tuple[list[Frame], Recording]:
    frames = []
    with open_recording(path) as recording:
        for item in recording:
            assert isinstance(item, FrameBatch)
            for k in range(len(item)):
                flags, length = int(item.flags[k]), int(item.length[k])
                data = b"" if flags & REMOTE else bytes(item.data[k][:length])
                bus = recording.buses[int(item.bus[k])].name
                frames.append(Frame(int(item.time_ns[k]), bus, int(item.can_id[k]), flags, length, data))
    return frames, recording


def write(source: Path, target: Path) -> tuple[int, list[Loss]]:
    with open_recording(source) as recording:
        contents = look_through(recording)
    with open_recording(source) as recording:
        return export(recording, contents, target), losses(contents, export_form(target, replace=True))


def with_losses(frames: list[Frame], lost: dict[str, str], names: list[str]) -> list[Frame]:
    """What the losses, as told, make of the frames."""
    result = []
    first_ns = frames[0].time_ns
    for frame in frames:
        gone = [
            ("error_frames", frame.flags & ERROR),
            ("remote_frames", frame.flags & REMOTE),
            ("fd_frames", frame.flags & FD),
            ("set_back", frame.time_ns < first_ns),
        ]
        if any(holds and lost.get(feature, "").startswith("left out") for feature, holds in gone):
            continue
        if "directions" in lost or ("error_directions" in lost and frame.flags & ERROR):
            frame = replace(frame, flags=frame.flags & ~SENT)
        if frame.flags & ERROR and "error_frames" in lost:
            frame = replace(frame, can_id=0, data=b"", length=0, flags=ERROR)
        if frame.flags & REMOTE and "remote_lengths" in lost:
            frame = replace(frame, length=0)
        if frame.flags & FD and "fd_frames" in lost:
            if frame.length > 8:
                continue  # bad to whoever reads it
            frame = replace(frame, flags=frame.flags & ~(FD | 48))
        if frame.flags & FD and not frame.length and "empty_fd_frames" in lost:
            continue  # bad to whoever reads it
        if "length_codes" in lost:
            frame = replace(frame, flags=frame.flags & 0xFF)
        if "buses" in lost:
            frame = replace(frame, bus="bus")
        if "bus_names" in lost:
            frame = replace(frame, bus=str(names.index(frame.bus) + 1))
        if "number_names" in lost:
            frame = replace(frame, bus="can" + frame.bus if frame.bus.isdigit() else frame.bus)
        if "cut to the microsecond" in lost.get("nanoseconds", ""):
            frame = replace(frame, time_ns=frame.time_ns // 1000 * 1000)
        if "date" in lost:
            frame = replace(frame, time_ns=frame.time_ns - first_ns // 1000 * 1000)
        result.append(frame)
    return result


def plain(frame: Frame, lost: dict[str, str]) -> Frame:
    """A frame as read back, without what the form makes up for an error frame of which only the fact is kept."""
    frame = replace(frame, time_ns=0)
    if frame.flags & ERROR:
        frame = replace(frame, flags=frame.flags & ~1)  # an error frame has no kind of identifier
        if "error_frames" in lost:
            frame = replace(frame, can_id=0, data=b"", length=0)
    return frame


def check(source: Path, target: Path) -> dict[str, str]:
    frames, recording = frames_of(source)
    written, told = write(source, target)
    lost = {loss.feature: loss.becomes for loss in told}
    wanted = with_losses(frames, lost, [bus.name for bus in recording.buses])
    found, again = frames_of(target)
    assert [plain(frame, lost) for frame in found] == [plain(frame, lost) for frame in wanted]
    slack = {".blf": 500, ".trc": 2000}[target.suffix] if "stamps" in lost else 0
    first = found[0].time_ns if found else 0
    offset = first - wanted[0].time_ns if target.suffix == ".trc" else 0  # its start is a float of days
    assert abs(offset) < 2000
    for left, right in zip(found, wanted, strict=True):
        assert abs(left.time_ns - right.time_ns - offset) <= slack
    unreadable = written - len(found)
    assert again.bad_records == unreadable
    damage = lost.get("fd_frames", "") + lost.get("empty_fd_frames", "")
    assert unreadable == 0 or damage.endswith("as damage")
    return lost


@pytest.mark.parametrize("form", [*READ_BACK, *(form + ".gz" for form in PACKED_FORMS if form != ".txt")])
@pytest.mark.parametrize("seed", range(4))
def test_every_form_keeps_all_but_what_was_told(tmp_path: Path, form: str, seed: int) -> None:
    # reference library: python-can writes; what it wrote is read back by the readers of the package
    rows, lengths = random_rows(seed, 200)
    rows = [(START + k * 1001 * 997, k % 3 // 2, i, f, d) for k, (_, _, i, f, d) in enumerate(rows)]
    lost = check(capture(tmp_path / "a.pcapng", rows, lengths), tmp_path / f"b{form}")
    assert (not lost) == (form == ".pcapng")


MICRO = START // 1_000_000 * 1_000_000
ONE_BY_ONE: dict[str, tuple[list[Row], list[int]]] = {
    "directions": ([(MICRO, 0, 1, SENT, b"\1")], [1]),
    "error_frames": ([(MICRO, 0, 8, ERROR, b"\0\4\0\0\0\0\0\0")], [8]),
    "error_directions": ([(MICRO, 0, 8, ERROR | SENT, b"\0\4\0\0\0\0\0\0")], [8]),
    "remote_frames": ([(MICRO, 0, 1, REMOTE, b"")], [0]),
    "remote_lengths": ([(MICRO, 0, 1, REMOTE, b"")], [5]),
    "fd_frames": ([(MICRO, 0, 1, FD | 48, bytes(range(12)))], [12]),
    "empty_fd_frames": ([(MICRO, 0, 1, FD, b"")], [0]),
    "length_codes": ([(MICRO, 0, 1, 11 << 8, bytes(8))], [8]),
    "buses": ([(MICRO, 0, 1, 0, b""), (MICRO, 1, 1, 0, b"")], [0, 0]),
    "nanoseconds": ([(MICRO, 0, 1, 0, b""), (MICRO + 1_001, 0, 1, 0, b"")], [0, 0]),
    "set_back": ([(MICRO, 0, 1, 0, b""), (MICRO - 10**9, 0, 2, 0, b"")], [0, 0]),
}


@pytest.mark.parametrize("form", READ_BACK)
@pytest.mark.parametrize("feature", ONE_BY_ONE)
def test_what_is_told_of_one_feature_is_so(tmp_path: Path, form: str, feature: str) -> None:
    rows, lengths = ONE_BY_ONE[feature]
    first = [(MICRO, 0, 0x7FF, 0, b"\1")]  # so that there is always something to read back
    lost = check(capture(tmp_path / "a.pcapng", first + rows, [1, *lengths]), tmp_path / f"b{form}")
    if feature in lost:
        # the loss is real: the frames come back changed or not at all
        source, _ = frames_of(tmp_path / "a.pcapng")
        found, _ = frames_of(tmp_path / f"b{form}")
        ignored = {"bus": "", "time_ns": 0} if feature not in ("buses", "nanoseconds") else {}
        assert [replace(f, **ignored) for f in found] != [replace(f, **ignored) for f in source]  # type: ignore[arg-type]


def test_lines_marks_rates_and_counts_are_told_of(tmp_path: Path) -> None:
    source = tmp_path / "a.pcapng"
    slept = RecorderGap(START, START + 1_000_000_000, "the recorder slept", "1", dropped=3)
    with CaptureWriter(source) as writer:
        bus, line = writer.add_bus("1", 250_000, 2_000_000), writer.add_line("gps", "nmea0183", 4800)
        writer.write_frames(bus, batch_of([(START, 0, 1, 0, b"\1")]))
        writer.write_bytes(line, START, b"$GPZDA\r\n", framing_errors=2)
        writer.mark(START, "power_on")
        writer.gap(slept)
        writer.dropped(bus, 3)
    wanted = {"line_chunks": 1, "marks": 2, "rates": 1, "drop_counts": 3, "recorder_gaps": 1}
    for form in EXPORT_FORMS:
        _, told = write(source, tmp_path / f"b{form}")
        counts = {loss.feature: loss.count for loss in told}
        for feature, count in wanted.items():
            assert counts.get(feature) == (None if form == ".pcapng" else count), (form, feature)
    with open_recording(tmp_path / "b.pcapng") as recording:
        items = list(recording)
    assert {type(item) for item in items} == {FrameBatch, LineChunk, Mark}
    assert recording.buses[0].data_bitrate == 2_000_000
    assert recording.lines[0].protocol == "nmea0183"
    assert recording.dropped_frames == 3
    assert recording.recorder_gaps[0] == slept
    assert [item.framing_errors for item in items if isinstance(item, LineChunk)] == [2]


def test_a_bus_and_a_line_that_nothing_came_of_stay(tmp_path: Path) -> None:
    # a line that was listened to and silent is another thing than one that nobody listened to
    source, target = tmp_path / "a.pcapng", tmp_path / "b.pcapng"
    with CaptureWriter(source) as writer:
        writer.add_bus("aft", 500_000)
        bus = writer.add_bus("nav", 250_000)
        writer.add_line("gps", "nmea0183", 4800)
        writer.write_frames(bus, batch_of([(START, 0, 1, 0, b"\1")]))
    write(source, target)
    with open_recording(source) as before, open_recording(target) as after:
        list(before), list(after)
    assert (after.buses, after.lines) == (before.buses, before.lines)
    assert [bus.name for bus in after.buses] == ["aft", "nav"]


def test_what_a_line_lost_is_no_loss_of_a_bus(tmp_path: Path) -> None:
    source, target = tmp_path / "a.pcapng", tmp_path / "b.pcapng"
    lost = RecorderGap(START, START + 1_000_000_000, "the port was lost", line="gps", dropped=4)
    with CaptureWriter(source) as writer:
        bus, line = writer.add_bus("nav"), writer.add_line("gps")
        writer.write_frames(bus, batch_of([(START, 0, 1, 0, b"\1"), (START + 2_000_000_000, 0, 1, 0, b"\1")]))
        writer.gap(lost)
        writer.dropped(line, 4)
    write(source, target)
    for path in (source, target):
        with open_recording(path) as recording:
            list(recording)
        assert (recording.recorder_gaps, recording.dropped_frames) == ([lost], 4)


def test_bytes_and_marks_before_1970_are_left_out_and_told_of(tmp_path: Path) -> None:
    source, target = tmp_path / "a.pcapng", tmp_path / "b.pcapng"
    # stamps that count from 1960 on: the option if_tsoffset
    options = option(9, b"\x09", "<") + option(14, struct.pack("<q", -315_619_200), "<")
    links = [block(1, struct.pack("<HHI", link, 0, 0) + options, "<") for link in (147, 148, 227)]
    packets = [
        packet(0, 5, b"\1\0early", "<"),
        packet(1, 6, b'{"kind": "power_on"}', "<"),
        packet(2, START, can_payload(1, 0, b"\1"), "<"),
    ]
    source.write_bytes(section("<") + b"".join(links + packets))
    written, told = write(source, target)
    assert written == 1  # the frame is of 2013 then
    assert {loss.feature: loss.count for loss in told} == {"lines_before_1970": 2}
    with open_recording(target) as recording:
        assert [type(item) for item in recording] == [FrameBatch]


@pytest.mark.parametrize("value", ["NaN", "-Infinity", "1e999"])
def test_a_mark_with_a_number_that_is_no_json_is_a_bad_record(tmp_path: Path, value: str) -> None:
    source, target = tmp_path / "a.pcapng", tmp_path / "b.pcapng"
    marks = packet(0, START, f'{{"kind": "note", "value": {value}}}'.encode(), "<")
    marks += packet(0, START, b'{"kind": "note", "value": 1.5}', "<")
    source.write_bytes(section("<") + interface(148, "<", b"marks") + marks)
    write(source, target)
    with open_recording(source) as recording:
        assert list(recording) == [Mark(START, "note", {"value": 1.5})]
    assert recording.bad_records == 1
    with open_recording(target) as recording:
        assert list(recording) == [Mark(START, "note", {"value": 1.5})]


def test_the_form_for_people_has_a_line_for_each_frame(tmp_path: Path) -> None:
    rows, lengths = random_rows(1, 20)
    write(capture(tmp_path / "a.pcapng", rows, lengths), tmp_path / "b.txt")
    lines = (tmp_path / "b.txt").read_text().splitlines()
    assert len(lines) == 20
    assert all("Timestamp:" in line and f"{row[2]:x}" in line for line, row in zip(lines, rows, strict=True))


def test_a_file_that_is_there_stays_unless_it_may_be_replaced(tmp_path: Path) -> None:
    source = capture(tmp_path / "a.pcapng", [(START, 0, 1, 0, b"")], [0])
    target = tmp_path / "b.log"
    target.write_text("precious")
    with open_recording(source) as recording, pytest.raises(InputError, match="is there already"):
        export(recording, Contents(), target)
    assert target.read_text() == "precious"
    with open_recording(source) as recording:
        assert export(recording, Contents(first_ns=START), target, replace=True) == 1
    assert "001#" in target.read_text()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.pcapng", "b.log"]


@pytest.mark.parametrize("name", ["a.mf4", "a.xyz", "a", "a.blf.gz", "a.db.gz", "a.trc.gz", "a.pcapng.gz"])
def test_forms_that_are_not_written(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="can't be written") as caught:
        export_form(tmp_path / name)
    assert caught.value.hint


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    source = capture(tmp_path / "a.pcapng", [(START, 0, 1, 0, b"")], [0])
    for form in EXPORT_FORMS:
        with open_recording(source) as recording, pytest.raises(InputError, match="can't be written"):
            export(recording, Contents(first_ns=START), tmp_path / "none" / f"b{form}")
