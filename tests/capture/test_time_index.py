"""Recordings gone to by time: the frames are those that reading through gives; played time; marks and gaps."""

from __future__ import annotations

import random
import struct
from bisect import bisect_left
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from frame_rows import Row, batch_of
from hypothesis import example, given, settings
from hypothesis import strategies as st
from plain_pcapng import block, can_payload, interface, option, packet, section

from benchcheck.capture.capture_slices import CaptureSlices
from benchcheck.capture.logs import open_recording
from benchcheck.capture.parts import parts_of
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.capture.recording import Recording
from benchcheck.capture.rotating_writer import RotatingWriter
from benchcheck.capture.time_index import Clock, Event, TimeIndex, open_index
from benchcheck.words.errors import InputError
from benchcheck.words.frames import FrameBatch

START = 1_700_000_000_123_456_789
SECOND = 1_000_000_000
MS = 1_000_000
CAPTURES = Path(__file__).parents[2] / "captures"


def rows_of(recording: Recording) -> list[tuple[object, ...]]:
    with recording:
        return [
            (
                int(item.time_ns[k]),
                recording.buses[item.bus[k]].name,
                int(item.can_id[k]),
                int(item.flags[k]),
                int(item.length[k]),
                bytes(item.data[k][: item.length[k]]),
            )
            for item in recording
            if isinstance(item, FrameBatch)
            for k in range(len(item))
        ]


def looked_through(index: TimeIndex) -> TimeIndex:
    while index.extend():
        pass
    return index


def foreign(seed: int, order: str) -> bytes:
    """A capture of any mix: several sections, bit orders, link types, options, marks, lines, spoilt packets."""
    rng = random.Random(seed)
    data = b""
    for number in range(rng.randrange(1, 4)):
        order = rng.choice("<>") if number else order
        data += section(order) + interface(227, order) + interface(rng.choice((1, 147)), order)
        data += interface(148, order, b"marks") + interface(227, order, b"can1", rng.choice((9, 6)))
        for k in range(rng.randrange(60)):
            time_ns = (START + number * SECOND + k * 1000) // 1000 * 1000
            bus = rng.choice((0, 0, 0, 3))
            flags = rng.choice((0, 0, 1, 8))
            content = rng.randbytes(rng.choice((12, 48)) if flags & 8 else rng.randrange(9))
            options = option(1, b"x" * rng.choice((3, 1500)), order) if rng.random() < 0.1 else b""
            data += packet(bus, time_ns, can_payload(rng.randrange(0x700), flags, content), order, options)
            if rng.random() < 0.1:
                mark = b'{"kind": "note"}' if rng.random() < 0.7 else b"{"
                data += packet(2, time_ns, mark, order)
            if rng.random() < 0.1:
                data += packet(rng.choice((1, 9)), time_ns, b"\1\0other", order)
            if rng.random() < 0.05:
                data += block(0x0BAD, rng.randbytes(40), order)
            if rng.random() < 0.02:
                data += interface(227, order, b"late")
    return data


@settings(max_examples=25)
@given(st.integers(0, 1 << 30), st.sampled_from("<>"), st.sampled_from([64, 1024, 1 << 16]), st.integers(0, 4000))
def test_slices_hold_what_reading_through_gives(
    tmp_path_factory: pytest.TempPathFactory, seed: int, order: str, slice_bytes: int, cut: int
) -> None:
    path = tmp_path_factory.getbasetemp() / "mixed.pcapng"
    data = foreign(seed, order)
    path.write_bytes(data[: max(len(data) - cut, 200)] if cut % 2 else data)
    with open_recording(path) as reader:
        wanted = rows_of(reader)
    with CaptureSlices([path], slice_bytes) as index:
        first = rows_of(index) if seed % 2 else rows_of(looked_through(index))
        assert first == wanted
        again = [index.read(number) for number in reversed(range(len(index.slices)))]
        assert sum(len(piece.frames) for piece in again) == len(wanted)
        assert index.truncated == reader.truncated
        assert [note for note in index.notes if "byte" in note] == [note for note in reader.notes if "byte" in note]


@pytest.mark.parametrize("name", ["launch_good", "launch_faults"])
def test_the_samples(name: str) -> None:
    path = CAPTURES / f"{name}.pcapng"
    assert rows_of(open_index(path)) == rows_of(open_recording(path))


def many(count: int, step_ns: int = MS, start_ns: int = START) -> FrameBatch:
    return batch_of([(start_ns + k * step_ns, 0, k % 2048, 0, struct.pack("<I", k)) for k in range(count)])


def test_any_time_is_found_without_reading_what_lies_before(tmp_path: Path) -> None:
    path = tmp_path / "a.pcapng"
    with CaptureWriter(path) as writer:
        writer.write_frames(writer.add_bus("can1"), many(5000))
    with CaptureSlices([path], 4096) as index:
        assert index.find(1000 * MS) * 85 == pytest.approx(1000, abs=90)
        assert len(index.slices) < 15  # it has not looked further
        looked_through(index)
        for at in (0, 1, MS, 999 * MS, 2500 * MS + 1, 4999 * MS):
            piece = index.read(index.find(at))
            place = int(piece.played_ns.searchsorted(at))
            assert piece.frames.time_ns[place] - START == -(-at // MS) * MS
        assert index.find(5000 * MS) == len(index.slices)
        assert (index.end_ns, index.complete, index.first_ns) == (4999 * MS, True, START)


def test_parts_are_one_and_a_missing_one_is_said(tmp_path: Path) -> None:
    path = tmp_path / "night.pcapng"
    writer = RotatingWriter(path, max_bytes=4096)
    bus = writer.add_bus("can1")
    for part in range(6):
        writer.write_frames(bus, many(80, MS, START + part * 80 * MS))
    writer.close()
    with open_index(path) as index:
        assert [row[0] for row in rows_of(index)] == [START + k * MS for k in range(480)]
        events = [event.text for piece in index.slices for event in piece.events]
        assert "mark continues" in events
    parts_of(path)[1].unlink()
    with open_index(path) as index:
        looked_through(index)
        assert any("missing" in note for note in index.notes)


def test_a_log_is_kept_and_gone_to_in_the_same_way(tmp_path: Path) -> None:
    path = tmp_path / "a.log"
    path.write_text("".join(f"({k}.000000) can0 123#{k:02X}\n" for k in range(200)), encoding="ascii")
    assert rows_of(open_index(path)) == rows_of(open_recording(path))
    with open_index(path) as index:
        piece = index.read(index.find(150 * SECOND))
        assert piece.frames.data[int(piece.played_ns.searchsorted(150 * SECOND)), 0] == 150


def test_what_can_not_be_opened(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        open_index(tmp_path / "none.pcapng")
    index = CaptureSlices([tmp_path / "gone.pcapng"])
    with pytest.raises(InputError):
        index.extend()


# --- played time ---------------------------------------------------------------------------------------------------


def plainly(stamps: list[int]) -> list[int]:
    """Played time frame by frame, as the module says it in words."""
    played: list[int] = []
    now = taken = 0
    for k, stamp in enumerate(stamps):
        taken = stamp if not k else taken
        if stamp - taken < now - SECOND:
            taken = stamp - now
        now = max(now, stamp - taken)
        played.append(now)
    return played


@example([5 * SECOND, -3 * SECOND, MS, 2 * SECOND, -4 * SECOND, MS], [2, 3])  # set back twice
@given(
    st.lists(st.one_of(st.integers(0, 5 * SECOND), st.integers(-2 * SECOND, SECOND), st.integers(-(10**15), 10**15))),
    st.lists(st.integers(0, 30)),
)
def test_played_time_never_goes_back_in_any_cut(steps: list[int], cuts: list[int]) -> None:
    stamps = [START + sum(steps[:k]) for k in range(len(steps))]
    clock, found = Clock(), []
    bounds = sorted({0, len(stamps), *(cut for cut in cuts if cut < len(stamps))})
    for start, stop in pairwise(bounds):
        played, clock = clock.after(np.array(stamps[start:stop], np.int64))
        found += played.tolist()
    assert found == plainly(stamps)
    assert found == sorted(found)
    if stamps:
        assert (clock.first_ns, clock.frames, clock.played_ns) == (stamps[0], len(stamps), found[-1])


# --- marks and gaps ------------------------------------------------------------------------------------------------


@pytest.fixture
def eventful(tmp_path: Path) -> Path:
    """Frames each 0.1 s to second 2, a mark at 1.05, silence to second 5, frames to 6, a mark at 6.5."""
    path = tmp_path / "eventful.pcapng"
    with CaptureWriter(path) as writer:
        bus = writer.add_bus("can1")
        writer.write_frames(bus, many(11, 100 * MS))
        writer.mark(START + 1050 * MS, "power_on")
        writer.write_frames(bus, many(10, 100 * MS, START + 1100 * MS))
        writer.write_frames(bus, many(11, 100 * MS, START + 5 * SECOND))
        writer.mark(START + 6500 * MS, "step_judged")
    return path


@pytest.mark.parametrize("slice_bytes", [48, 480, 1 << 16])
@pytest.mark.parametrize("known", [True, False])
def test_marks_and_gaps_in_turn(eventful: Path, slice_bytes: int, known: bool) -> None:
    with CaptureSlices([eventful], slice_bytes) as index:
        if known:
            looked_through(index)
        found: list[Event] = []
        while (event := index.next_event(found[-1].at_ns if found else 0)) is not None:
            found.append(event)
        assert found == [
            Event(1050 * MS, "mark power_on"),
            Event(2000 * MS + 1, "3.000 s without a frame"),
            Event(6500 * MS, "mark step_judged"),
        ]


@settings(max_examples=30)
@given(st.lists(st.integers(0, 3 * SECOND), min_size=1, max_size=60), st.integers(0, 60 * SECOND))
def test_the_next_gap_from_anywhere(tmp_path_factory: pytest.TempPathFactory, steps: list[int], after: int) -> None:
    path = tmp_path_factory.getbasetemp() / "gaps.pcapng"
    at = [sum(steps[:k]) for k in range(len(steps))]
    rows: list[Row] = [(START + one, 0, 1, 0, b"") for one in at]
    path.unlink(missing_ok=True)
    with CaptureWriter(path) as writer:
        writer.write_frames(writer.add_bus("can1"), batch_of(rows))
    gaps = [a + 1 for a, b in pairwise(at) if b - a >= SECOND]
    with CaptureSlices([path], 200) as index:
        event = index.next_event(after)
        place = bisect_left(gaps, after + 1)
        assert (event and event.at_ns) == (gaps[place] if place < len(gaps) else None)
