"""What a player does next, against plain arithmetic, with a clock that is a number."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.jobs.playing.play_state import (
    LEAST_SPEED,
    MOST_SPEED,
    Command,
    End,
    Give,
    GiveOne,
    GoTo,
    GoToEvent,
    Kind,
    PlayState,
    Wait,
)

MS = 1_000_000
SECOND = 1000 * MS


@dataclass
class Driven:
    """A state with frames at these played times, driven as a player drives it; `given` notes (clock, frame)."""

    frames: list[int]
    state: PlayState
    now: int = 0
    place: int = 0
    given: list[tuple[int, int]] = field(default_factory=list)
    went: list[int] = field(default_factory=list)  # how many were given before each going elsewhere
    ended: bool = False

    @property
    def head(self) -> int | None:
        return self.frames[self.place] if self.place < len(self.frames) else None

    @property
    def position(self) -> int:
        return self.state.position_ns(self.now, self.head)

    def settle(self) -> Wait | End:
        """Do all that is to be done now."""
        while True:
            head = self.head
            do = self.state.next(self.now, head)
            if isinstance(do, (Wait, End)):
                self.ended |= isinstance(do, End)
                return do
            if isinstance(do, Give):
                assert not self.state.paused
                assert head is not None
                assert do.upto_ns >= head
                assert do.due_ns <= self.now
                while (frame := self.head) is not None and frame <= do.upto_ns:
                    assert self.state.due_ns(frame) <= self.now + 1 + self.state.speed  # none before its time
                    self._give()
            elif isinstance(do, GiveOne):
                assert self.state.paused
                self._give()
            else:
                at = do.at_ns if isinstance(do, GoTo) else do.after_ns + 1
                self.place = sum(frame < at for frame in self.frames)
                self.went.append(len(self.given))
                if isinstance(do, GoToEvent):
                    self.state.arrived(at, self.now)

    def _give(self) -> None:
        assert self.head is not None
        self.given.append((self.now, self.head))
        self.place += 1

    def wait(self, ns: int) -> None:
        """Let so much time go by, waking up whenever the state wants to."""
        until = self.now + ns
        while isinstance(do := self.settle(), Wait) and do.until_ns is not None and do.until_ns <= until:
            assert do.until_ns > self.now
            self.now = do.until_ns
        self.now = until
        self.settle()

    def tell(self, kind: Kind, value: float = 0.0) -> None:
        self.state.obey(Command(kind, value))
        self.settle()


FRAMES = st.lists(st.integers(0, 20 * SECOND), min_size=1, max_size=40).map(sorted)
SPEED = st.sampled_from([0.01, 0.3, 1.0, 2.0, 7.5, 1000.0])
PACE = st.sampled_from([0, MS, 200 * MS])


def driven(frames: list[int], speed: float = 1.0, pace_ns: int = 0, **how: bool) -> Driven:
    return Driven(frames, PlayState(frames[0], 0, speed, pace_ns=pace_ns, first_ns=frames[0], **how))


@given(FRAMES, SPEED, PACE, st.lists(st.integers(1, 3 * SECOND), max_size=30))
@settings(max_examples=60)
def test_every_frame_once_in_order_and_in_time(frames: list[int], speed: float, pace: int, waits: list[int]) -> None:
    run = driven(frames, speed, pace)
    for ns in waits:
        run.wait(ns)
    run.wait(int(21 * SECOND / speed) + pace)
    assert [frame for _, frame in run.given] == frames
    assert run.ended
    for clock, frame in run.given:
        assert -1 - speed <= clock - (frame - frames[0]) / speed <= pace + 1 + speed


COMMANDS = st.one_of(
    st.tuples(st.sampled_from([Kind.PAUSE, Kind.GO_ON, Kind.PAUSE_OR_GO_ON, Kind.FRAME, Kind.EVENT]), st.just(0.0)),
    st.tuples(st.sampled_from([Kind.FASTER, Kind.SLOWER]), st.just(0.0)),
    st.tuples(st.just(Kind.BY), st.floats(-30, 30)),
    st.tuples(st.sampled_from([Kind.TO, Kind.SPEED]), st.floats(allow_nan=True, allow_infinity=True)),
)


@given(FRAMES, SPEED, PACE, st.lists(st.one_of(COMMANDS, st.integers(0, 5 * SECOND)), max_size=30), st.booleans())
@settings(max_examples=150)
def test_whatever_it_is_told(
    frames: list[int], speed: float, pace: int, deeds: list[tuple[Kind, float] | int], paused: bool
) -> None:
    """Between two goings elsewhere: every frame in turn, none twice; nothing by itself while paused (see Driven)."""
    run = driven(frames, speed, pace, paused=paused, hold_at_end=True)
    for deed in deeds:
        before, known, head = run.position, len(run.given), run.head
        if isinstance(deed, tuple):
            run.tell(*deed)
            if deed[0] in (Kind.PAUSE, Kind.GO_ON, Kind.FASTER, Kind.SLOWER, Kind.SPEED):
                assert run.position - before in range(2) or len(run.given) > known  # it stays where it is
            if deed[0] is Kind.FRAME and head is not None and run.state.paused:
                assert run.given[-1][1] == head
                assert run.position == max(head, before)
        else:
            run.wait(deed)
            if run.state.paused and not run.state.at_end:
                assert (run.position, len(run.given)) == (before, known)
            assert run.position >= before - 1
        if run.head is not None and not run.state.paused:
            assert run.position <= max(run.head, before)
        assert LEAST_SPEED <= run.state.speed <= MOST_SPEED
        assert not run.ended
    for start, stop in zip([0, *run.went], [*run.went, len(run.given)], strict=True):
        part = [frame for _, frame in run.given[start:stop]]
        if part:
            first = max(frames.index(part[0]), 0)
            same = frames.count(part[0])
            assert any(part == frames[k : k + len(part)] for k in range(first, first + same))


@given(st.integers(0, 10 * SECOND), st.integers(0, 100 * SECOND), SPEED)
@settings(max_examples=60)
def test_a_pause_moves_the_schedule_by_its_length(before: int, pause: int, speed: float) -> None:
    frames = list(range(0, 4 * SECOND, 250 * MS))
    straight, paused = driven(frames, speed), driven(frames, speed)
    whole = int(5 * SECOND / speed)
    before = min(before, int(3.9 * SECOND / speed))
    straight.wait(before + whole)
    paused.wait(before)
    count = len(paused.given)
    paused.tell(Kind.PAUSE)
    paused.wait(pause)
    assert len(paused.given) == count
    paused.tell(Kind.GO_ON)
    paused.wait(whole)
    moved = [clock - pause * (k >= count) for k, (clock, _) in enumerate(paused.given)]
    assert moved == [pytest.approx(clock, abs=2 + 2 / speed) for clock, _ in straight.given]


@given(st.integers(0, 9 * SECOND), SPEED, SPEED)
@settings(max_examples=60)
def test_another_speed_counts_from_where_it_is(at: int, first: float, second: float) -> None:
    run = driven([0, 10 * SECOND], first)
    run.wait(int(at / first))
    left = 10 * SECOND - run.position
    run.tell(Kind.SPEED, second)
    start = run.now
    do = run.settle()
    assert isinstance(do, Wait)
    assert do.until_ns == pytest.approx(start + left / second, abs=2)


def test_a_late_player_makes_no_frame_after_it_late() -> None:
    run = driven([0, 10 * MS, 20 * MS, 30 * MS, 40 * MS])
    run.settle()
    run.now = 25 * MS  # it was kept from playing
    run.settle()
    run.wait(20 * MS)
    assert [(clock // MS, frame // MS) for clock, frame in run.given] == [
        (0, 0),
        (25, 10),
        (25, 20),
        (30, 30),
        (40, 40),
    ]


def test_a_pause_when_late_keeps_what_was_not_given() -> None:
    run = driven([0, 10 * MS, 20 * MS])
    run.settle()
    run.now = 500 * MS
    run.state.obey(Command(Kind.PAUSE))
    run.settle()
    assert run.position == 10 * MS  # not beyond what was not given yet
    run.tell(Kind.GO_ON)
    run.wait(10 * MS)
    assert [clock // MS for clock, _ in run.given] == [0, 500, 510]


def test_steps_are_one_frame_each_and_carried_out_in_turn() -> None:
    run = driven([0, SECOND, 5 * SECOND, 6 * SECOND], paused=True)
    for kind, value in (
        (Kind.FRAME, 0),
        (Kind.FRAME, 0),
        (Kind.TO, 5.5),
        (Kind.FRAME, 0),
        (Kind.BY, -5),
        (Kind.FRAME, 0),
    ):
        run.state.obey(Command(kind, value))
    run.settle()
    assert [frame // SECOND for _, frame in run.given] == [0, 1, 6, 1]
    assert run.state.obeyed == 6


def test_what_makes_no_sense_changes_nothing() -> None:
    run = driven([SECOND, 2 * SECOND], paused=True)
    for kind, value in (
        (Kind.SPEED, 0),
        (Kind.SPEED, -1),
        (Kind.SPEED, math.nan),
        (Kind.TO, math.nan),
        (Kind.BY, math.nan),
    ):
        run.tell(kind, value)
    assert (run.position, run.state.speed, run.state.paused) == (SECOND, 1.0, True)
    run.tell(Kind.TO, -math.inf)
    assert run.position == SECOND  # what is played begins there
    run.tell(Kind.SPEED, math.inf)
    assert run.state.speed == MOST_SPEED


def test_faster_and_slower_go_in_steps_and_stop_at_the_ends() -> None:
    run = driven([0, SECOND], 3.0, paused=True)
    run.tell(Kind.FASTER)
    assert run.state.speed == 5.0
    run.tell(Kind.SLOWER)
    assert run.state.speed == 2.0
    for _ in range(30):
        run.tell(Kind.SLOWER)
    assert run.state.speed == 0.01


def test_the_end() -> None:
    run = driven([0])
    assert isinstance(run.settle(), End)
    held = driven([0], hold_at_end=True)
    assert held.settle() == Wait(None)
    assert (held.state.at_end, held.state.paused) == (True, True)
    held.tell(Kind.TO, 0)
    held.tell(Kind.GO_ON)
    assert [frame for _, frame in held.given] == [0, 0]
    stepped = driven([0], paused=True)
    stepped.tell(Kind.FRAME)
    assert not stepped.ended  # one may still want to go back
    stepped.tell(Kind.GO_ON)
    assert stepped.ended


def test_quitting_comes_behind_what_was_told_before_and_nothing_behind_it() -> None:
    run = driven([0, SECOND], paused=True)
    for kind in (Kind.FRAME, Kind.QUIT, Kind.FRAME):
        run.state.obey(Command(kind))
    assert isinstance(run.settle(), End)
    assert len(run.given) == 1
