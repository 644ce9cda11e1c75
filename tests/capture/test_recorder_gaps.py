"""When the recorder did not record: told by marks, by counts of dropped frames, by parts that are missing or damaged."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import pytest
from frame_rows import Row, batch_of
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_pcapng import block, can_payload, interface, option, packet, section

from benchcheck.capture.export import export
from benchcheck.capture.log_losses import look_through
from benchcheck.capture.logs import open_recording
from benchcheck.capture.pcapng_writer import STATISTICS_NS, CaptureWriter
from benchcheck.capture.recording import Recording
from benchcheck.capture.rotating_writer import RotatingWriter
from benchcheck.words.recorder_gap import RecorderGap

START = 1_700_000_000_000_000_000
S = 1_000_000_000
ORDERS = ("<", ">")


def rows_from(first: int, count: int) -> list[Row]:
    return [(START + k * S // 10, 0, 0x100 + k % 7, 0, bytes((k % 256,))) for k in range(first, first + count)]


def read(path: Path) -> Recording:
    with open_recording(path) as recording:
        list(recording)
    return recording


def test_a_mark_is_a_gap(tmp_path: Path) -> None:
    path = tmp_path / "a.pcapng"
    out = RecorderGap(START + S, START + 2 * S, "the adapter could not be read", "can1")
    lost = RecorderGap(START + 2 * S, START + 3 * S, "the port was lost", line="gps", dropped=2)
    every = RecorderGap(START, START + S, "the recorder slept")
    with CaptureWriter(path) as writer:
        writer.write_frames(writer.add_bus("can1"), batch_of(rows_from(0, 5)))
        for gap in (out, lost, every):
            writer.gap(gap)
    assert read(path).recorder_gaps == [out, lost, every]
    assert [gap.is_of_bus("can1") for gap in (out, lost, every)] == [True, False, True]
    assert [gap.is_of_line("gps") for gap in (out, lost, every)] == [False, True, True]


VALUES = st.none() | st.booleans() | st.integers(-(2**70), 2**70) | st.floats(allow_nan=False) | st.text(max_size=300)
KEYS = st.sampled_from(("from_ns", "to_ns", "why", "bus", "line", "dropped"))


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(KEYS, VALUES))
def test_marks_that_make_no_sense_are_no_gaps(body: dict[str, object]) -> None:
    gap = RecorderGap.from_mark(json.loads(json.dumps(body)))
    if gap is not None:
        assert gap.start_ns <= gap.end_ns
        assert RecorderGap.from_mark(gap.to_mark()) == gap._replace(line="" if gap.bus else gap.line)


def test_what_the_counts_say_was_dropped_between_the_two(tmp_path: Path) -> None:
    path = tmp_path / "a.pcapng"
    with CaptureWriter(path) as writer:
        first, second = writer.add_bus("can1"), writer.add_bus("can2")
        for k in range(6):
            writer.write_frames(first, batch_of(rows_from(100 * k, 100)))
            writer.write_frames(second, batch_of(rows_from(100 * k, 100)))
            writer.dropped(first, {0: 0, 1: 0, 2: 3, 3: 3, 4: 3, 5: 4}[k])
            writer.keep_up(k * STATISTICS_NS)
    recording = read(path)
    assert [(gap.bus, gap.dropped) for gap in recording.recorder_gaps] == [("can1", 3), ("can1", 1)]
    ends = [((gap.start_ns - START) / S, (gap.end_ns - START) / S) for gap in recording.recorder_gaps]
    assert ends == [(19.9, 29.9), (49.9, 59.9)]
    assert recording.dropped_frames == 4
    assert "3 frames were dropped" in recording.recorder_gaps[0].why


@pytest.mark.parametrize("order", ORDERS)
def test_the_counts_of_other_recorders(tmp_path: Path, order: str) -> None:
    # the draft: isb_ifdrop (5) and isb_osdrop (7) are totals since the capture began, the stamp is that of the interface
    def statistics(ticks: int, if_drop: int, os_drop: int) -> bytes:
        counts = option(5, struct.pack(order + "Q", if_drop), order) + option(
            7, struct.pack(order + "Q", os_drop), order
        )
        return block(5, struct.pack(order + "III", 0, ticks >> 32, ticks & 0xFFFFFFFF) + counts, order)

    micro = START // 1000
    data = section(order) + interface(227, order, resolution=6) + packet(0, micro, can_payload(1, 0, b"\1"), order)
    data += (
        statistics(micro + 1_000_000, 2, 1) + statistics(micro + 2_000_000, 2, 1) + statistics(micro + 3_000_000, 2, 5)
    )
    (tmp_path / "a.pcapng").write_bytes(data)
    found = [
        (gap.start_ns - START, gap.end_ns - START, gap.dropped) for gap in read(tmp_path / "a.pcapng").recorder_gaps
    ]
    assert found == [(0, S, 3), (2 * S, 3 * S, 4)]


def test_frames_that_a_mark_names_are_not_told_twice(tmp_path: Path) -> None:
    path = tmp_path / "a.pcapng"
    gap = RecorderGap(START + S, START + 2 * S, "too fast", "can1", dropped=5)
    with CaptureWriter(path) as writer:
        bus = writer.add_bus("can1")
        writer.keep_up(0)
        writer.write_frames(bus, batch_of(rows_from(0, 30)))
        writer.gap(gap)
        writer.dropped(bus, 5)
        writer.keep_up(STATISTICS_NS)
        writer.write_frames(bus, batch_of(rows_from(30, 30)))
        writer.dropped(bus, 7)  # two more, of which no mark tells
    recording = read(path)
    assert recording.recorder_gaps[0] == gap
    assert [(g.dropped, (g.start_ns - START) / S) for g in recording.recorder_gaps[1:]] == [(2, 2.0)]
    assert recording.dropped_frames == 7


def write_parts(folder: Path) -> RotatingWriter:
    with RotatingWriter(folder / "night.pcapng", max_ns=5 * S) as writer:
        bus = writer.add_bus("can1", 250_000)
        for k in range(20):
            writer.write_frames(bus, batch_of(rows_from(10 * k, 10)))
            writer.keep_up(k * S)
    return writer


def spans(recording: Recording) -> list[tuple[float, float, str]]:
    return [((g.start_ns - START) / S, (g.end_ns - START) / S, g.why) for g in recording.recorder_gaps]


def test_a_missing_part_is_a_gap_of_everything(tmp_path: Path) -> None:
    writer = write_parts(tmp_path)
    assert spans(read(tmp_path / "night.pcapng")) == []
    writer.parts[1].unlink()
    recording = read(tmp_path / "night.pcapng")
    assert spans(recording) == [(4.9, 10.0, "part 2 is missing")]
    assert recording.recorder_gaps[0].is_of_bus("can1")
    assert recording.recorder_gaps[0].is_of_line("gps")
    writer.parts[2].unlink()
    recording = read(tmp_path / "night.pcapng")
    assert spans(recording) == [(4.9, 15.0, "part 2 to 3 is missing")]
    assert recording.notes == ["part 2 to 3 is missing: nothing is known of its time"]


def test_parts_that_are_missing_at_the_ends_are_said(tmp_path: Path) -> None:
    writer = write_parts(tmp_path)
    writer.parts[0].unlink()
    writer.parts[3].unlink()
    recording = read(tmp_path / "night.pcapng")
    assert spans(recording) == []  # nothing says how long they were
    assert recording.notes == [
        "part 1 is missing: nothing is known of its time",
        "night.0004.pcapng is missing, where the capture goes on: nothing is known of its time",
    ]


def test_what_a_damaged_part_lost_is_a_gap(tmp_path: Path) -> None:
    writer = write_parts(tmp_path)
    data = writer.parts[1].read_bytes()
    writer.parts[1].write_bytes(data[: len(data) // 2])
    recording = read(tmp_path / "night.pcapng")
    ((start, end, why),) = spans(recording)
    assert 5.0 < start < 9.0
    assert (end, why) == (10.0, "night.0002.pcapng is damaged")
    assert recording.truncated


def test_a_capture_written_anew_keeps_its_gaps(tmp_path: Path) -> None:
    writer = write_parts(tmp_path)
    writer.parts[1].unlink()
    source, target = tmp_path / "night.pcapng", tmp_path / "whole.pcapng"
    with open_recording(source) as recording:
        contents = look_through(recording)
    with open_recording(source) as again:
        export(again, contents, target)
    assert read(target).recorder_gaps == recording.recorder_gaps


def test_dropped_frames_of_several_buses_stay_theirs_when_written_anew(tmp_path: Path) -> None:
    source, target = tmp_path / "a.pcapng", tmp_path / "b.pcapng"
    with CaptureWriter(source) as writer:
        first, second = writer.add_bus("can1"), writer.add_bus("can2")
        writer.write_frames(first, batch_of(rows_from(0, 10)))
        writer.write_frames(second, batch_of(rows_from(0, 10)))
        writer.gap(RecorderGap(START, START + S, "too fast", "can2", dropped=4))
        writer.dropped(second, 4)
    with open_recording(source) as recording:
        contents = look_through(recording)
    with open_recording(source) as again:
        export(again, contents, target)
    assert read(target).recorder_gaps == recording.recorder_gaps
    assert read(target).dropped_frames == 4
