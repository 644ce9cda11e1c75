"""When frames are given out, and what a player tells, with a clock that moves by waiting."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import pytest
from listed_index import MS, START, index_of, plain

from benchcheck.capture.recording import Mark
from benchcheck.capture.time_index import LogSlices
from benchcheck.jobs.playing.frame_rows import Wanted
from benchcheck.jobs.playing.play_state import Command, Kind
from benchcheck.jobs.playing.player import AHEAD_NS, PACE_NS, STATUS_NS, Arrived, Player, Status
from benchcheck.jobs.playing.reel import Frames, Reel

FRAME, PAUSE, GO_ON, QUIT = Command(Kind.FRAME), Command(Kind.PAUSE), Command(Kind.GO_ON), Command(Kind.QUIT)


class Stage:
    """The clock, the output and the line in one: waiting moves the clock; commands come when it has come so far.

    slow  identifier -> ms that giving it takes
    """

    def __init__(self, *told: tuple[float, Command], slow: dict[int, float] | None = None) -> None:
        self.ns = 0
        self.told = [(AHEAD_NS + round(at * MS), command) for at, command in told]
        self.slow = slow or {}
        self.ready = True
        self.given: list[tuple[float, int]] = []  # (ms since the first was due, identifier)
        self.groups: list[int] = []
        self.turns: list[int] = []
        self.said: list[Status | Arrived] = []
        self.said_at: list[int] = []

    def now_ns(self) -> int:
        self.ns += 1000  # looking at it takes its time, too
        return self.ns

    def wait(self, seconds: float | None) -> Sequence[Command]:
        until = None if seconds is None else self.ns + round(seconds * 1e9)
        if self.told and (until is None or self.told[0][0] <= until):
            at, command = self.told.pop(0)
            self.ns = max(self.ns, at)
            return [command]
        assert until is not None, "it would wait for ever"
        self.ns = until
        return ()

    def tell(self, said: Status | Arrived) -> None:
        self.said.append(said)
        self.said_at.append(self.ns)

    def give(self, frames: Frames, turn: int) -> None:
        for can_id in frames.batch.can_id.tolist():
            self.given.append(((self.ns - AHEAD_NS) / MS, can_id))
            self.ns += round(self.slow.get(can_id, 0) * MS)
        self.groups.append(len(frames))
        self.turns.append(turn)

    @property
    def statuses(self) -> list[Status]:
        return [said for said in self.said if isinstance(said, Status)]


def played(index: LogSlices, stage: Stage, speed: float = 1.0, **how: object) -> Player:
    player = Player(Reel(index, Wanted()), speed, stage, stage, now_ns=stage.now_ns, **how)  # type: ignore[arg-type]
    player.run()
    return player


def ids(stage: Stage) -> list[int]:
    return [can_id for _, can_id in stage.given]


@pytest.mark.parametrize("speed", [0.5, 1.0, 4.0])
def test_each_frame_is_given_when_it_is_due(speed: float) -> None:
    stage = Stage()
    player = played(plain(5, 15, 35, 105), stage, speed)
    assert [at for at, _ in stage.given] == [pytest.approx((at - 5) / speed, abs=0.05) for at in (5, 15, 35, 105)]
    assert (player.frames, player.lateness.frames) == (4, 4)
    assert (player.lateness.at_ms(100) or 0) < 0.05


def test_frames_that_fall_due_close_together_are_given_together() -> None:
    stage = Stage()
    player = played(index_of([(k * 0.1, 0, k) for k in range(1000)]), stage)
    assert ids(stage) == list(range(1000))
    assert len(stage.groups) == pytest.approx(100 * MS / PACE_NS, rel=0.1)
    assert player.lateness.at_ms(100) == pytest.approx(PACE_NS / MS, abs=0.12)


def test_one_late_frame_makes_none_after_it_late() -> None:
    stage = Stage(slow={0: 25})
    player = played(plain(0, 10, 20, 30, 40), stage)
    assert [round(at) for at, _ in stage.given] == [0, 25, 25, 30, 40]
    assert player.lateness.at_ms(100) == pytest.approx(25, abs=0.1)  # it took as long before the first was out
    assert player.lateness.at_ms(20) == pytest.approx(0, abs=0.1)


def test_a_stamp_a_little_before_the_one_before_is_due_with_it() -> None:
    stage = Stage()
    player = played(plain(0, 50, 10, 60), stage)
    assert [round(at) for at, _ in stage.given] == [0, 50, 50, 60]
    assert (player.lateness.at_ms(100) or 0) < 1


def test_where_the_clock_was_set_back_it_goes_on() -> None:
    stage = Stage()
    played(plain(0, 50, -3_600_000, -3_599_990), stage)
    assert [round(at) for at, _ in stage.given] == [0, 50, 50, 60]


def test_lateness_counts_from_where_it_went_on() -> None:
    stage = Stage((12, PAUSE), (5000, GO_ON))
    player = played(plain(0, 10, 20, 30), stage)
    assert [round(at) for at, _ in stage.given] == [0, 10, 5008, 5018]
    assert (player.lateness.at_ms(100) or 0) < 1


def test_a_player_that_was_stopped_does_not_play_in_a_rush() -> None:
    class Stopped(Stage):
        def wait(self, seconds: float | None) -> Sequence[Command]:
            commands = super().wait(seconds)
            if 20 * MS <= self.ns - AHEAD_NS < 30 * MS:
                self.ns += 60_000 * MS
            return commands

    stage = Stopped()
    player = played(plain(0, 10, 20, 30, 40, 50), stage)
    # it goes on from where it was when it last began to wait
    assert [at for at, _ in stage.given] == [pytest.approx(at, abs=0.1) for at in (0, 10, 60030, 60040, 60050, 60060)]
    assert player.stops == 1
    assert (player.lateness.at_ms(100) or 0) < 1


def test_steps_are_not_late() -> None:
    stage = Stage((0, PAUSE), (500, FRAME), (900, FRAME), (1000, QUIT))
    player = played(plain(0, 10, 20, 30), stage, paused=True)
    assert [(round(at), can_id) for at, can_id in stage.given] == [(500, 0), (900, 1)]
    assert player.lateness.frames == 0
    assert player.position_ns == 10 * MS
    assert player.state.quitting


def test_elsewhere_is_another_turn() -> None:
    stage = Stage((15, Command(Kind.TO, 0.05)), (16, Command(Kind.SPEED, 2)))
    player = played(plain(0, 10, 20, 30, 40, 50, 60), stage)
    assert ids(stage) == [0, 1, 5, 6]
    # half of the 9 ms that were left when the speed was doubled
    assert [at for at, _ in stage.given] == [pytest.approx(at, abs=0.1) for at in (0, 10, 15, 16 + 9 / 2)]
    assert stage.turns == [0, 0, 1, 1]
    assert player.lateness.frames == 4


def test_marks_and_gaps_are_told() -> None:
    index = index_of([(0, 0, 1), (100, 0, 2)], Mark(START + 150 * MS, "power_on"), [(200, 0, 3), (1500, 0, 4)])
    event = Command(Kind.EVENT)
    stage = Stage((1, event), (2, FRAME), (3, event), (4, FRAME), (5, event), (6, QUIT))
    played(index, stage)
    assert [said for said in stage.said if isinstance(said, Arrived)] == [
        Arrived(150 * MS, "mark power_on"),
        Arrived(200 * MS + 1, "1.300 s without a frame"),
        Arrived(1500 * MS, None),
    ]
    assert ids(stage) == [1, 3, 4]


def test_how_it_stands_is_told_five_times_a_second_and_at_once_when_told_something() -> None:
    stage = Stage((1000, PAUSE), (9000, GO_ON), (9100, QUIT))
    played(plain(*range(0, 3000, 10)), stage)
    playing = [at for at, said in zip(stage.said_at, stage.said, strict=True) if at < AHEAD_NS + 1000 * MS]
    assert len(playing) == pytest.approx(1050 * MS / STATUS_NS, abs=1)
    assert min(b - a for a, b in pairwise(playing)) > STATUS_NS * 0.9
    paused = [said for said in stage.statuses if said.paused]
    assert [said.at_ns // MS for said in paused] == [pytest.approx(1000, abs=1)]  # a pause is told once
    assert stage.statuses[-1].told == 3
    assert {said.end_ns for said in stage.statuses if said.end_known} == {2990 * MS}


def test_nothing_is_given_to_an_output_that_is_not_ready_and_nothing_is_lost() -> None:
    class Stuck(Stage):
        def wait(self, seconds: float | None) -> Sequence[Command]:
            commands = super().wait(seconds)
            self.ready = not 20 <= (self.ns - AHEAD_NS) / MS < 300
            return commands

    stage = Stuck()
    player = played(plain(*range(0, 500, 10)), stage)
    assert ids(stage) == list(range(50))
    assert not [at for at, _ in stage.given if 20.1 < at < 300]
    assert player.lateness.at_ms(100) == pytest.approx(280, abs=250)


def test_a_player_whose_output_is_stuck_still_obeys() -> None:
    stage = Stage((50, QUIT))
    stage.ready = False
    assert played(plain(0, 10), stage).frames == 0


def test_bundles_are_due_at_their_end() -> None:
    stage = Stage()
    player = played(plain(*range(0, 1000, 10)), stage, bundle_ns=200 * MS)
    assert stage.groups == [1, 20, 20, 20, 20, 19]
    assert ids(stage) == list(range(100))
    assert (player.lateness.at_ms(100) or 0) < 1


def test_behind_the_end_it_waits_where_it_is_to() -> None:
    stage = Stage((500, Command(Kind.BY, -0.015)), (600, GO_ON), (700, QUIT))
    played(plain(0, 10, 20), stage, hold_at_end=True)
    assert ids(stage) == [0, 1, 2, 1, 2]
    assert [said.at_end for said in stage.statuses][-1]


def test_far_behind_the_end_is_the_end() -> None:
    stage = Stage((1, PAUSE), (2, Command(Kind.TO, 1e9)), (3, Command(Kind.BY, -0.005)), (4, FRAME), (5, QUIT))
    played(plain(0, 10, 20), stage)
    assert ids(stage) == [0, 2]


def test_nothing_to_play_ends_at_once() -> None:
    stage = Stage()
    assert played(index_of(), stage).frames == 0
