"""Frames as rows and text, and when they are given out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from time import monotonic_ns, sleep

import pytest
from frame_rows import Row, batch_of
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.capture.logs import open_recording
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.jobs.frame_rows import FrameRow, Wanted, frame_rows, row_text
from benchcheck.jobs.lateness import Lateness
from benchcheck.jobs.player import AHEAD_NS, Played, Playing, play, play_apart
from benchcheck.jobs.replay import Part
from benchcheck.traffic.watch import IdKey
from benchcheck.words.frames import FrameFlag

MS = 1_000_000
START = 1_700_000_000_000_000_000


class Time:
    """A clock that moves by sleeping, and a little with each look at it."""

    def __init__(self) -> None:
        self.ns = 0

    def now(self) -> int:
        self.ns += 1000
        return self.ns

    def sleep(self, seconds: float) -> None:
        assert seconds > 0
        self.ns += round(seconds * 1e9)


class Slow:
    """Notes when each frame was given; some take long."""

    def __init__(self, time: Time, long_ns: int = 0) -> None:
        self.time, self.long_ns = time, long_ns
        self.at: list[int] = []

    def give(self, row: FrameRow) -> None:
        self.at.append(self.time.ns)
        if row.can_id == 1:
            self.time.ns += self.long_ns

    def done(self) -> None:
        """Nothing is held."""


def rows(*at_ms: float, slow: int = -1) -> Iterator[FrameRow]:
    return iter([FrameRow(round(at * MS), "can1", int(k == slow), 0, 0, b"") for k, at in enumerate(at_ms)])


@pytest.mark.parametrize("speed", [0.5, 1.0, 4.0])
def test_each_frame_is_given_when_it_is_due(speed: float) -> None:
    time = Time()
    output = Slow(time)
    late = play(rows(5, 15, 15.2, 105), speed, output, now_ns=time.now, sleep=time.sleep)
    due = [AHEAD_NS + (at - 5) * MS / speed for at in (5, 15, 15.2, 105)]
    assert all(0 <= at - wanted < 20_000 for at, wanted in zip(output.at, due, strict=True))
    assert late.frames == 4
    assert (late.at_ms(100) or 0) < 0.02


def test_one_late_frame_makes_none_after_it_late() -> None:
    time = Time()
    output = Slow(time, 25 * MS)
    late = play(rows(0, 10, 20, 30, 40, slow=0), 1.0, output, now_ns=time.now, sleep=time.sleep)
    given_ms = [(at - AHEAD_NS) / MS for at in output.at]
    assert [round(at) for at in given_ms] == [0, 25, 25, 30, 40]
    assert late.at_ms(100) == pytest.approx(25, abs=0.1)  # it took as long before the first was out
    assert late.at_ms(20) == pytest.approx(0, abs=0.1)


def test_a_stamp_that_steps_back_is_due_with_the_one_before() -> None:
    time = Time()
    output = Slow(time)
    late = play(rows(0, 50, 10, 60), 1.0, output, now_ns=time.now, sleep=time.sleep)
    assert [round((at - AHEAD_NS) / MS) for at in output.at] == [0, 50, 50, 60]
    assert (late.at_ms(100) or 0) < 0.02


@given(st.lists(st.integers(-1000, 10**9), min_size=1, max_size=50))
def test_lateness_by_nearest_rank(late_ns: list[int]) -> None:
    """The nearest-rank percentile: the smallest value that at least that share does not exceed (textbook definition)."""
    found = Lateness()
    for value in late_ns:
        found.add(value)
    ordered = sorted(max(value, 0) // 1000 for value in late_ns)
    for percent in (50, 99, 100):
        rank = -(-percent * len(ordered) // 100)
        assert found.at_ms(percent) == ordered[rank - 1] / 1000


def test_lateness_of_nothing() -> None:
    assert Lateness().to_json() == {"median_ms": None, "p99_ms": None, "max_ms": None}


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    first: list[Row] = [
        (START, 0, 0x0C1, 0, b"\x1a\x2b"),
        (START + 10 * MS, 0, 0x0C1, int(FrameFlag.EXTENDED), b"\x01"),
        (START + 20 * MS, 0, 0x7FF, 0, b""),
        (START + 30 * MS, 0, 0x100, int(FrameFlag.ERROR), bytes(8)),
    ]
    second: list[Row] = [(START + 40 * MS, 0, 0x0C1, int(FrameFlag.FD), bytes(12))]
    with CaptureWriter(tmp_path / "c.pcapng") as writer:
        a, b = writer.add_bus("can1", 250_000), writer.add_bus("can\x1b2", 250_000)
        writer.write_frames(a, batch_of(first))
        writer.write_frames(a, batch_of([(START + 35 * MS, 0, 0x200, int(FrameFlag.REMOTE), b"")], [4]))
        writer.write_frames(b, batch_of(second))
    return tmp_path / "c.pcapng"


def texts(path: Path, wanted: Wanted | None = None) -> list[str]:
    with open_recording(path) as recording:
        return [row_text(row) for row in frame_rows(recording, wanted or Wanted())]


def test_frames_as_text(capture: Path) -> None:
    assert texts(capture) == [
        "     0.000000000 s, can1, 0C1 says 1A 2B",
        "     0.010000000 s, can1, 000000C1 says 01",
        "     0.020000000 s, can1, 7FF says nothing",
        "     0.030000000 s, can1, error frame",
        "     0.035000000 s, can1, 200 asks for 4 bytes",
        "     0.040000000 s, can?2, 0C1 FD says" + 12 * " 00",
    ]


@pytest.mark.parametrize(
    ("wanted", "left"),
    [
        (Wanted(Part(0.01, 0.03)), [1, 2]),
        (Wanted(Part(0.035, None)), [4, 5]),
        (Wanted(buses=frozenset({"can1"})), [0, 1, 2, 3, 4]),
        (Wanted(ids=frozenset({IdKey(0x0C1, False)})), [0, 5]),
        (Wanted(ids=frozenset({IdKey(0x0C1, True), IdKey(0x200, False)})), [1, 4]),
        (Wanted(ids=frozenset({IdKey(0x100, False)})), []),  # that of an error frame is none
        (Wanted(ids=frozenset()), []),
    ],
)
def test_only_what_is_wanted(capture: Path, wanted: Wanted, left: list[int]) -> None:
    whole = texts(capture)
    assert texts(capture, wanted) == [whole[place] for place in left]


def test_played_in_a_process_of_its_own(capture: Path) -> None:
    played = play_apart(Playing(capture, Wanted(), 100.0))
    assert isinstance(played, Played)
    assert (played.frames, played.sent, played.not_sent) == (6, 0, 0)
    assert played.lateness["median_ms"] is not None


@pytest.mark.long
def test_lateness_at_9000_frames_a_second(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The figure to reach is a median under 1 ms and a 99th percentile under 5 ms; what it was is printed, beside what
    a bare loop that sleeps as often comes to on the same machine just before: what is left to others' load."""
    bare, start = Lateness(), monotonic_ns()
    for due in range(start, start + 3_000 * MS, 1_000_000_000 // 9000):
        sleep(max(due - monotonic_ns(), 0) / 1e9)
        bare.add(monotonic_ns() - due)
    with CaptureWriter(tmp_path / "full.pcapng") as writer:
        bus = writer.add_bus("can1", 1_000_000)
        for part in range(10):
            many = [(START + (part * 9000 + k) * 1_000_000_000 // 9000, 0, k % 2048, 0, bytes(8)) for k in range(9000)]
            writer.write_frames(bus, batch_of(many))
    played = play_apart(Playing(tmp_path / "full.pcapng", Wanted(), 1.0))
    with capsys.disabled():
        print(f"\n{played.frames} frames in 10 s: late by {played.lateness}; bare sleeps: {bare.to_json()}")
    assert played.frames == 90_000  # how late depends on what else the machine does: it is printed, not judged
