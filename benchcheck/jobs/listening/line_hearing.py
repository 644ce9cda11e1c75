"""Listens to one talker of a link during the live stage, and looks for its speed where what comes makes no sense.

What a verdict rests on goes into the capture: the bytes heard at the speed that is judged, and in the mark `line_judged` what
was found at others.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from benchcheck.bench.clock import Clock
from benchcheck.bench.lines.serial_line import LineListener
from benchcheck.harness.model import Link, Talk
from benchcheck.jobs.listening.find_speed import find_speed
from benchcheck.jobs.listening.heard import SECOND_NS
from benchcheck.traffic.lines.line_speed import (
    SpeedFound,
    SpeedSaid,
    SpeedState,
    Trial,
    judge_speed,
    makes_sense,
    said_of,
)
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.protocols import protocol_of
from benchcheck.traffic.lines.talk_rates import BREAK_PERIODS, enough_gaps

PUMP_S = 0.02
LINE_PERIODS = 2.5  # as for the units of a bus
LINE_LEAST_S = 1.0
GOOD_SENTENCES = 3
FIRST_BAUD = 4800  # where the profile gives no speed (IEC 61162-1)
OTHER_FRAMINGS = ("8N1", "7E1")  # the ones that are met beside the planned one (common practice, no source)
SEARCH_MOST_S = 30.0

Mark = Callable[[str, int, Mapping[str, object]], None]
Keep = Callable[[int, bytes, int | None], None]


@dataclass(frozen=True, slots=True)
class LineHeard:
    """What was heard at the speed that is judged; `speed` where another was looked for."""

    tally: LineTally
    speed: SpeedSaid | None


class LineHearing:
    """One talker, tapped. `pump` is called often meanwhile, `keep` takes every chunk, `mark` notes what a replay needs;
    `on_speed` is told each speed that is tried."""

    def __init__(
        self,
        listener: LineListener,
        clock: Clock,
        link: Link,
        talk: Talk,
        *,
        pump: Callable[[], None],
        keep: Keep,
        mark: Mark,
        on_speed: Callable[[int], None] | None = None,
    ) -> None:
        self._listener = listener
        self._clock = clock
        self._link = link
        self._talk = talk
        self._pump = pump
        self._keep = keep
        self._mark = mark
        self._on_speed = on_speed
        self._protocol = protocol_of(link)

    def hear(self, up_ns: int) -> LineHeard:
        """Listen until the talker has said what it should, or its time is over; `up_ns` is when it should be up."""
        began_ns = self._clock.stamp_ns()
        tally = self._listen(up_ns)
        link, baud = self._link, self._link.baud or FIRST_BAUD
        trial = Trial(baud, link.framing, tally, (self._clock.stamp_ns() - began_ns) / SECOND_NS)
        if link.baud == 0 and makes_sense(tally):
            return LineHeard(tally, said_of(judge_speed([trial], baud, link.framing), 0, link.framing))
        if not tally.bytes or tally.understood or str(self._listener.state) == "link lost":
            return LineHeard(tally, None)
        found = self._look_for_speed(trial)
        said = said_of(found, link.baud, link.framing)
        if link.baud == 0 and found.state is SpeedState.FOUND:
            return LineHeard(self._listen(up_ns), said)  # the listener is at that speed now
        return LineHeard(tally, said)

    def _look_for_speed(self, heard: Trial) -> SpeedFound:
        until_ns = self._clock.stamp_ns() + int(SEARCH_MOST_S * SECOND_NS)

        def is_over() -> bool:
            self._pump()
            return self._clock.stamp_ns() >= until_ns

        return find_speed(
            self._listener,
            self._clock,
            self._protocol,
            heard.baud,
            heard.framing,
            period_s=self._talk.period_s,
            heard=heard,
            framings=OTHER_FRAMINGS,
            on_speed=self._on_speed,
            is_over=is_over,
        )

    def _listen(self, up_ns: int) -> LineTally:
        """What comes at the speed that the listener has, from now on."""
        tally = LineTally(self._protocol)
        started_ns = self._clock.stamp_ns()
        self._mark("line_begun", started_ns, {"link": self._link.name, "sender": self._talk.sender})
        while not self._is_enough(tally) and self._clock.stamp_ns() < max(started_ns, up_ns) + self._most_ns(tally):
            self._clock.sleep(PUMP_S)
            self._pump()
            for time_ns, data, framing_errors in self._listener.drain():
                if tally.bytes == 0:
                    started_ns = time_ns  # its time counts from its first byte: what came before was silence
                tally.feed(data, time_ns, framing_errors=framing_errors)
                self._keep(time_ns, data, framing_errors)
        return tally

    def _is_enough(self, tally: LineTally) -> bool:
        """Whether everything was heard, and so often that its pace can be told."""
        times = enough_gaps(self._talk.period_s) + 1 if self._talk.is_timed else 1
        return tally.understood >= GOOD_SENTENCES and self._sound(tally, times)

    def _sound(self, tally: LineTally, times: int) -> bool:
        return all(name in tally.types and tally.types[name].sound >= times for name in self._talk.types)

    def _most_ns(self, tally: LineTally) -> int:
        """How long a talker is given, from its first byte: more where it talks, and only its pace is not known yet."""
        most_s = max(LINE_LEAST_S, LINE_PERIODS * self._talk.period_s)
        if self._talk.is_timed and self._talk.types and self._sound(tally, 1):
            most_s = max(most_s, (BREAK_PERIODS + 0.5) * (enough_gaps(self._talk.period_s) + 1) * self._talk.period_s)
        return int(most_s * SECOND_NS)
