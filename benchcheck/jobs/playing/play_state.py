"""What a player does next: commands in, what to do out. Time is a value, and nothing here waits, reads or writes.

Two times are told apart. Played time is that of the recording, in nanoseconds since its first record; the clock is any
clock that never goes back, also in nanoseconds. The schedule is absolute: played time `base_at` was reached when the
clock showed `base_now`, and all that is due is worked out from there, so a frame that was late makes none after it
late. To go on after a pause, to go elsewhere and to change the speed each lay a new base.

Whoever drives it asks `next`, does that, and asks again; `head_ns` is always the played time of the next frame that is
there to be given, None behind the last one.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import Enum

SPEEDS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)  # by faster and slower
LEAST_SPEED, MOST_SPEED = 0.001, 1000.0
_SECOND_NS = 1_000_000_000
_FARTHEST_NS = 1 << 62


class Kind(Enum):
    """What can be asked of a player; `value` of a Command is in the brackets."""

    PAUSE = "pause"
    GO_ON = "go on"
    PAUSE_OR_GO_ON = "pause or go on"
    FRAME = "one frame"
    EVENT = "to the next mark or gap"
    BY = "by so many seconds"  # [s], below 0: back
    TO = "to a second"  # [s since the first record]
    SPEED = "speed"  # [factor]
    FASTER = "faster"
    SLOWER = "slower"
    QUIT = "quit"


@dataclass(frozen=True, slots=True)
class Command:
    kind: Kind
    value: float = 0.0


@dataclass(frozen=True, slots=True)
class Wait:
    """Nothing is due before the clock shows `until_ns`; None: before a command comes."""

    until_ns: int | None


@dataclass(frozen=True, slots=True)
class Give:
    """Give every frame with a played time of at most `upto_ns`; they were due together when the clock showed `due_ns`."""

    upto_ns: int
    due_ns: int


@dataclass(frozen=True, slots=True)
class GiveOne:
    """Give the next frame alone."""


@dataclass(frozen=True, slots=True)
class GoTo:
    """Go to the first frame at this played time or later. What lies between is not given."""

    at_ns: int


@dataclass(frozen=True, slots=True)
class GoToEvent:
    """Go to the first mark or gap later than `after_ns`, and say by `arrived` where that was."""

    after_ns: int


@dataclass(frozen=True, slots=True)
class End:
    """It is over: all was given, or it was told to quit."""


Do = Wait | Give | GiveOne | GoTo | GoToEvent | End


class PlayState:
    """Plays from `at_ns` on, which is reached when the clock shows `now_ns`.

    pace_ns      frames are given in groups, no more often than this
    first_ns     there is nothing to go to before this played time
    hold_at_end  behind the last frame it pauses, so that one can go back; otherwise that is the end, unless it is paused
    """

    def __init__(
        self,
        at_ns: int,
        now_ns: int,
        speed: float = 1.0,
        *,
        pace_ns: int = 0,
        first_ns: int = 0,
        paused: bool = False,
        hold_at_end: bool = False,
    ) -> None:
        self.speed = speed
        self.paused = paused
        self.at_end = False
        self.quitting = False
        self.end_ns: int | None = None  # the position never gets beyond it; set by whoever drives it, once it is known
        self._base_at, self._base_now = at_ns, now_ns
        self._pace_ns, self._given_ns = pace_ns, now_ns - pace_ns
        self._first_ns = first_ns
        self._hold_at_end = hold_at_end
        self._group: Give | None = None  # what was given last
        self._commands: deque[Command] = deque()
        self.obeyed = 0  # commands

    def position_ns(self, now_ns: int, head_ns: int | None) -> int:
        """The played time that is reached; never beyond a frame that was not given yet."""
        if self.paused:
            return self._base_at
        reached = (
            self._base_at + int((now_ns - self._base_now) * self.speed) if now_ns > self._base_now else self._base_at
        )
        most = self.end_ns if head_ns is None else head_ns
        return reached if most is None else max(self._base_at, min(reached, most))

    def due_ns(self, at_ns: int) -> int:
        """When the clock shows this, a frame at `at_ns` is due."""
        return self._base_now + int(max(at_ns - self._base_at, 0) / self.speed)

    def obey(self, command: Command) -> None:
        """Take in a command; it is carried out by `next`, behind those before it."""
        self._commands.append(command)

    def next(self, now_ns: int, head_ns: int | None) -> Do:
        """What is to be done now."""
        while self._commands:
            order = self._carry_out(self._commands.popleft(), now_ns, head_ns)
            self.obeyed += 1
            if order is not None:
                return order
        if self.quitting:
            return End()
        if head_ns is None:
            if not self.paused and not self._hold_at_end:
                return End()
            self.at_end = True
            self._rest(now_ns, None)
            return Wait(None)
        self.at_end = False
        if self.paused:
            return Wait(None)
        if self._group is not None and head_ns <= self._group.upto_ns:
            return self._group  # whoever gives them gives some at a time
        due_ns = max(self.due_ns(head_ns), self._given_ns + self._pace_ns)
        if now_ns < due_ns:
            return Wait(due_ns)
        self._given_ns = now_ns
        self._group = Give(max(head_ns, self._base_at + int((now_ns - self._base_now) * self.speed)), due_ns)
        return self._group

    def stood_still(self, since_ns: int, now_ns: int, head_ns: int | None) -> None:
        """The player itself was stopped from then on: what fell due meanwhile is not played in a rush, as after a pause."""
        self._base(self.position_ns(since_ns, head_ns), now_ns)

    def arrived(self, at_ns: int, now_ns: int) -> None:
        """Where it was gone to, where that is not known before: the next mark or gap, or the end."""
        self._base(at_ns, now_ns)

    def _carry_out(self, command: Command, now_ns: int, head_ns: int | None) -> Do | None:
        """Values that make no sense change nothing."""
        kind, value = command.kind, command.value
        if value != value or self.quitting:  # not a number
            return None
        if kind is Kind.PAUSE_OR_GO_ON:
            kind = Kind.GO_ON if self.paused else Kind.PAUSE
        if kind is Kind.QUIT:
            self._base(self.position_ns(now_ns, head_ns), now_ns)
            self.quitting = True
        elif kind is Kind.GO_ON:
            self._base(self.position_ns(now_ns, head_ns), now_ns)
            self.paused = False
        elif kind in (Kind.PAUSE, Kind.FRAME, Kind.EVENT):
            self._rest(now_ns, head_ns)
            if kind is Kind.EVENT:
                return GoToEvent(self._base_at)
            if kind is Kind.FRAME and head_ns is not None:
                self._base(max(head_ns, self._base_at), now_ns)
                return GiveOne()
        elif kind in (Kind.BY, Kind.TO):
            start = 0 if kind is Kind.TO else self.position_ns(now_ns, head_ns)
            to_ns = max(start + _in_ns(value), self._first_ns)
            self._base(to_ns, now_ns)
            return GoTo(to_ns)
        else:
            self._base(self.position_ns(now_ns, head_ns), now_ns)
            self.speed = self._speed_by(kind, value)
        return None

    def _rest(self, now_ns: int, head_ns: int | None) -> None:
        self._base(self.position_ns(now_ns, head_ns), now_ns)
        self.paused = True

    def _base(self, at_ns: int, now_ns: int) -> None:
        self._base_at, self._base_now = at_ns, now_ns
        self._given_ns = now_ns - self._pace_ns
        self._group = None

    def _speed_by(self, kind: Kind, value: float) -> float:
        if kind is Kind.FASTER:
            return next((speed for speed in SPEEDS if speed > self.speed), self.speed)
        if kind is Kind.SLOWER:
            return next((speed for speed in reversed(SPEEDS) if speed < self.speed), self.speed)
        return min(max(value, LEAST_SPEED), MOST_SPEED) if value > 0 else self.speed


def _in_ns(seconds: float) -> int:
    return round(min(max(seconds * _SECOND_NS, -_FARTHEST_NS), _FARTHEST_NS))
