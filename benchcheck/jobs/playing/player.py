"""Plays frames as a PlayState says: gives them out when they are due, and obeys what it is told meanwhile.

Frames that fall due close together are given out together, PACE_NS apart: that costs a tenth of the work of waking up
for each, and a process that sleeps most of its time is woken up in time by a busy system. Nothing is left out to catch up.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from benchcheck.jobs.playing.lateness import Lateness
from benchcheck.jobs.playing.play_state import Command, End, Give, GiveOne, GoTo, GoToEvent, PlayState, Wait
from benchcheck.jobs.playing.reel import Frames, Reel, joined

PACE_NS = 750_000
AHEAD_NS = 50_000_000  # the first frame is due this long after everything is ready
STATUS_NS = 200_000_000  # how it stands is told five times a second, and whenever it was told something
MOST_HELD = 256  # frames given out in one go, so that those that are late do not wait for many more
MOST_BUNDLED = 4096  # of those that are to be given out in bundles
STOPPED_NS = 2_000_000_000  # who wakes up so much later than it asked for was stopped (Ctrl-Z), not kept waiting
_GIVEN_UNHEARD = 4  # so many times in a row before it is looked for commands
_LOOK_NS = 900_000  # looking through one more slice takes about as long
_LOOK_EVERY_NS = 50_000_000
_LOOK_FIRST_NS = 250_000_000  # of a recording of up to a million frames the end is known from the beginning


@dataclass(frozen=True, slots=True)
class Status:
    """How a player stands.

    at_ns        the played time that is reached; end_ns: that of the last frame, so far as `end_known`
    late_ns      the most that a frame was late since the status before; None: no frame was given
    turn         grows each time it goes elsewhere
    told         commands that were obeyed
    """

    at_ns: int
    end_ns: int
    end_known: bool
    paused: bool
    at_end: bool
    speed: float
    frames: int
    late_ns: int | None
    turn: int
    told: int


@dataclass(frozen=True, slots=True)
class Arrived:
    """It went to a mark or a gap, which is what `text` says; None: there is none later."""

    at_ns: int
    text: str | None


class Output(Protocol):
    """Where frames go. What was given is out when `give` returns; while it is not `ready`, nothing is given."""

    @property
    def ready(self) -> bool: ...

    def give(self, frames: Frames, turn: int) -> None: ...


class Line(Protocol):
    """The line to whoever has it played."""

    def wait(self, seconds: float | None) -> Sequence[Command]:
        """Commands, as soon as there are some or the output has become ready, and at most after so many seconds."""

    def tell(self, said: Status | Arrived) -> None: ...


class Player:
    """Plays a reel from where it stands, until its end or until it is told to quit.

    bundle_ns  frames are given out no more often than this; they are due at the end of their bundle
    """

    def __init__(
        self,
        reel: Reel,
        speed: float,
        output: Output,
        line: Line,
        *,
        bundle_ns: int = 0,
        paused: bool = False,
        hold_at_end: bool = False,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self.lateness = Lateness()
        self._reel, self._output, self._line, self._now_ns = reel, output, line, now_ns
        start = now_ns()
        while now_ns() - start < _LOOK_FIRST_NS and not reel.all_known:
            reel.look_ahead()
        self._bundle_ns = bundle_ns
        self._most = MOST_BUNDLED if bundle_ns else MOST_HELD
        self.state = PlayState(
            reel.head_ns or 0,
            now_ns() + AHEAD_NS,
            speed,
            pace_ns=max(PACE_NS, bundle_ns),
            first_ns=reel.head_ns or 0,
            paused=paused,
            hold_at_end=hold_at_end,
        )
        self.frames = 0
        self._turn = 0
        self.stops = 0
        self._late_ns: int | None = None
        self._tell_ns = self._look_ns = now_ns()

    @property
    def position_ns(self) -> int:
        return self.state.position_ns(self._now_ns(), self._reel.head_ns)

    def run(self) -> None:
        """Play."""
        state, reel, now_ns = self.state, self._reel, self._now_ns
        given = 0
        while True:
            now = now_ns()
            if now >= self._tell_ns:
                self._tell(now)
            if reel.head_ns is None:
                state.end_ns = reel.last_ns
            before = state.obeyed, state.at_end
            do = state.next(now, reel.head_ns)
            if (state.obeyed, state.at_end) != before:
                self._tell_ns = now
            seconds: float | None = 0.0
            if isinstance(do, Give):
                if self._output.ready:
                    self._give(do.upto_ns, do.due_ns if self._bundle_ns else 0, timed=True)
                    given += 1
                    if given < _GIVEN_UNHEARD:
                        continue  # most often nothing more is due, and the next thing is to wait for what is
                else:
                    seconds = STATUS_NS / 1e9
            elif isinstance(do, Wait):
                seconds = self._wait(do.until_ns, now)
            elif isinstance(do, End):
                self._tell(now)
                return
            else:
                self._go(do, now)
            asked = now_ns()
            for command in self._line.wait(seconds):
                state.obey(command)
            given = 0
            if seconds is not None and now_ns() - asked - seconds * 1e9 > STOPPED_NS:
                self.stops += 1
                state.stood_still(asked, now_ns(), reel.head_ns)

    def _give(self, upto_ns: int, bundle_due_ns: int, *, timed: bool) -> None:
        parts = [self._reel.take(upto_ns, self._most)]
        while self._bundle_ns and (head_ns := self._reel.head_ns) is not None and head_ns <= upto_ns:
            if sum(map(len, parts)) >= self._most:
                break
            parts.append(self._reel.take(upto_ns, self._most))
        frames = joined(parts)
        self._output.give(frames, self._turn)
        self.frames += len(frames)
        if timed:
            now = self._now_ns()
            late = [now - max(self.state.due_ns(at), bundle_due_ns) for at in frames.at_ns.tolist()]
            self.lateness.add_all(late)
            self._late_ns = max(self._late_ns or 0, *late)

    def _go(self, do: GiveOne | GoTo | GoToEvent, now: int) -> None:
        reel = self._reel
        if isinstance(do, GiveOne):
            if reel.head_ns is not None:
                self._give(-1, 0, timed=False)
            self._tell_ns = now
            return
        if isinstance(do, GoToEvent):
            event = reel.next_event(do.after_ns)
            self._line.tell(
                Arrived(do.after_ns if event is None else event.at_ns, None if event is None else event.text)
            )
            if event is None:
                return
            reel.go_to(event.at_ns)
            self.state.arrived(event.at_ns, self._now_ns())
        else:
            reel.go_to(do.at_ns)
            beyond = reel.head_ns is None and do.at_ns > reel.last_ns
            self.state.arrived(reel.last_ns if beyond else do.at_ns, self._now_ns())
        self._turn += 1
        self._tell_ns = now

    def _wait(self, until_ns: int | None, now: int) -> float | None:
        """How long to wait for a command; part of the time may go into looking ahead."""
        look = not self._reel.all_known and (until_ns is None or until_ns - now > _LOOK_NS) and now >= self._look_ns
        if look:
            self._reel.look_ahead()
            now = self._now_ns()
            if until_ns is None:
                if self._reel.all_known:
                    self._tell_ns = now
                return 0.0
            self._look_ns = now + _LOOK_EVERY_NS
        if until_ns is None:
            return None if now < self._tell_ns else 0.0
        return max(min(until_ns, self._tell_ns) - now, 0) / 1e9

    def _tell(self, now: int) -> None:
        reel, state = self._reel, self.state
        self._tell_ns = (1 << 62) if state.paused else now + STATUS_NS
        self._line.tell(
            Status(
                state.position_ns(now, reel.head_ns),
                reel.last_ns,
                reel.all_known,
                state.paused,
                state.at_end,
                state.speed,
                self.frames,
                self._late_ns,
                self._turn,
                state.obeyed,
            )
        )
        self._late_ns = None
