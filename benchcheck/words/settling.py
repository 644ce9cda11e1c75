"""When a reading has settled in contact, so that it may be taken by itself: a state machine; time comes in as a value.

Readings stream in while a person moves the probes:

    held      the probes may still be where the last reading was taken: they have to be lifted first
    lifted    they touch nothing, and the next reading is waited for
    arming    in contact, not steady yet
    charging  in contact, and rising faster than the slope limit: a capacitance takes up what the meter gives
    settled   steady, but a pass would look like lifted probes: a press is waited for
    taken     the reading stands

Settled are `readings` in a row that span `within_s` at least, lie within the larger of `percent` of the reading and `counts`
of the meter's last digit, and don't rise or fall faster than `slope_percent_per_s` (or than those counts in `within_s`).

Lifted probes read over range in ohms and about nothing in volts. What looks so is never taken by itself, nor is anything in a step
that such a reading would pass: there a person presses, and contact is by that person's word. After a press all readings count,
open ones too, and the same rule says when they have settled. A reading that goes on rising, or is not steady, ends after
`patience_s` without a value, in words. (All figures of the rule: common practice, no source.)
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

from benchcheck.words.meter import MeterSpec, range_of
from benchcheck.words.reading import Reading, ReadingState, format_quantity
from benchcheck.words.verdict import Band

BY_WORD = "by the operator's word"
BY_ITSELF = "by itself"
BY_PRESS = "by a press"


class Hold(StrEnum):
    HELD = "held"
    LIFTED = "lifted"
    ARMING = "arming"
    CHARGING = "charging"
    SETTLED = "settled"
    TAKEN = "taken"


@dataclass(frozen=True, slots=True)
class SettleRule:
    """See the module. `lift_s`: for so long the probes have to be off before what they touch next is the next contact."""

    readings: int = 4
    within_s: float = 0.5
    percent: float = 0.5
    counts: float = 3.0
    slope_percent_per_s: float = 0.5
    lift_s: float = 0.3
    patience_s: float = 30.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be read.

    lifted_v       volts within which a reading looks like lifted probes
    lifted_passes  a reading of lifted probes would pass: nothing is taken by itself
    count          what one count of the meter is worth at a value
    """

    unit: str
    lifted_v: float
    lifted_passes: bool
    count: Callable[[float], float]


def passes_lifted(band: Band | None, unit: str, lifted_v: float) -> bool:
    """Whether probes that touch nothing would read what passes a band."""
    if band is None:
        return False
    if unit == "V":
        return (band.low is None or band.low <= lifted_v) and (band.high is None or band.high >= -lifted_v)
    return unit == "ohm" and band.high is None


def looks_lifted(reading: Reading, lifted_v: float) -> bool:
    """Whether probes that touch nothing would read so."""
    if reading.unit == "V":
        return reading.state is ReadingState.VALUE and abs(reading.value) <= lifted_v
    return reading.state is ReadingState.OVER


def count_of(spec: MeterSpec, unit: str) -> Callable[[float], float]:
    """What one count of a meter is worth at a value, in its unit."""
    ranges = spec.volt_ranges if unit == "V" else spec.ohm_ranges
    floor = spec.volt_floor / 2 if unit == "V" else spec.ohm_floor

    def worth(value: float) -> float:
        return range_of(ranges, value).resolution if ranges else (floor or 0.0)

    return worth


class Settling:
    """One reading that is waited for. Feed it what the meter shows; `taken` is there once `hold` is TAKEN.

    armed   the probes are known to be off the contacts of the reading before
    """

    def __init__(self, wanted: Wanted, rule: SettleRule | None = None, *, armed: bool = False) -> None:
        self._wanted = wanted
        self._rule = rule or SettleRule()
        self._armed = armed
        self._pressed = False
        self._window: deque[tuple[float, Reading]] = deque()
        self._lifted_since: float | None = None
        self._since: float | None = None  # contact, or the press
        self._rising_since: float | None = None
        self._charged = False
        self.hold = Hold.LIFTED if armed else Hold.HELD
        self.words = ""
        self.taken: Reading | None = None

    def press(self) -> None:
        """A person says that the probes are where they should be: what is read from here on counts."""
        if self.hold is not Hold.TAKEN:
            self._pressed = True
            self._restart()

    def feed(self, at_s: float, reading: Reading) -> Hold:
        """What the meter shows at a time in seconds of any clock that does not go back."""
        if self.hold is Hold.TAKEN:
            return self.hold
        if reading.state is ReadingState.NONE:
            self._nothing(reading)
        elif not self._pressed and looks_lifted(reading, self._wanted.lifted_v):
            self._lifted(at_s)
        elif not self._pressed and not self._armed:
            self._lifted_since = None
            self.hold = Hold.HELD
        else:
            self._in_contact(at_s, reading)
        return self.hold

    def _nothing(self, reading: Reading) -> None:
        self.words = str(reading.detail.get("why", "no reading"))
        self._lifted_since = None
        if self._pressed:
            self._take(reading)
            return
        self._restart()
        if self._armed:
            self.hold = Hold.ARMING

    def _lifted(self, at_s: float) -> None:
        self._restart()
        if self._lifted_since is None:
            self._lifted_since = at_s
        elif at_s - self._lifted_since >= self._rule.lift_s:
            self._armed = True
        self.hold = Hold.LIFTED if self._armed else Hold.HELD
        self.words = ""

    def _in_contact(self, at_s: float, reading: Reading) -> None:
        self._lifted_since = None
        window, rule = self._window, self._rule
        self._since = at_s if self._since is None else self._since
        if window and window[-1][1].state is not reading.state:
            window.clear()
        window.append((at_s, reading))
        while len(window) > rule.readings and at_s - window[1][0] >= rule.within_s:
            window.popleft()
        whole = len(window) >= rule.readings and at_s - window[0][0] >= rule.within_s
        rises = self._rises()
        if whole and rises:
            self._charged = True
            self._rising_since = at_s if self._rising_since is None else self._rising_since
        elif whole:
            self._rising_since = None
        if whole and self._level() and self._spread() <= self._allowed():
            if self._pressed or not self._wanted.lifted_passes:
                self._take(reading)
            else:
                self.hold, self.words = Hold.SETTLED, f"steady at {reading.text}"
            return
        self.hold = Hold.CHARGING if whole and rises else Hold.ARMING
        self.words = self._unsettled(reading) if whole else ""
        # by itself only what has been rising all the time; somebody who holds unsteady probes may go on trying
        since = self._since if self._pressed else None if self._wanted.lifted_passes else self._rising_since
        if since is not None and at_s - since >= rule.patience_s:
            why = f"{self.words or 'not steady'}, after {rule.patience_s:g} s"
            self._take(
                Reading(
                    ReadingState.NONE,
                    reading.unit,
                    instrument=reading.instrument,
                    detail={**reading.detail, "why": why},
                )
            )

    def _unsettled(self, reading: Reading) -> str:
        if self.hold is Hold.CHARGING:
            slope = format_quantity(self._slope(), reading.unit)
            return f"rising, {reading.text} and {slope} more each second: charging"
        if reading.state is ReadingState.OVER:
            return ""
        values = [kept.value for _, kept in self._window]
        low, high = (format_quantity(value, reading.unit) for value in (min(values), max(values)))
        return f"not steady, {low} to {high}"

    def _values(self) -> list[float]:
        return [kept.value for _, kept in self._window if kept.state is ReadingState.VALUE]

    def _spread(self) -> float:
        values = self._values()
        return max(values) - min(values) if values else 0.0

    def _allowed(self) -> float:
        values = self._values()
        if not values:
            return 0.0
        size = max(abs(value) for value in values)
        return max(size * self._rule.percent / 100, self._rule.counts * self._wanted.count(size))

    def _slope(self) -> float:
        """Rise a second, of the later half of the window against the earlier one; 0 where there is no telling."""
        points = [(at, kept.value) for at, kept in self._window if kept.state is ReadingState.VALUE]
        half = len(points) // 2
        if half == 0:
            return 0.0
        early, late = points[:half], points[-half:]
        apart_s = (sum(at for at, _ in late) - sum(at for at, _ in early)) / half
        more = (sum(value for _, value in late) - sum(value for _, value in early)) / half
        return more / apart_s if apart_s > 0 else 0.0

    def _rises(self) -> bool:
        """Whether it goes up all the way, and faster than the slope limit."""
        values, allowed = self._values(), self._allowed()
        falls = any(after < before - allowed for before, after in pairwise(values))
        return self._slope() > 0 and not falls and not self._level()

    def _level(self) -> bool:
        values = self._values()
        if not values:
            return True
        size, rule = max(abs(value) for value in values), self._rule
        limit = max(size * rule.slope_percent_per_s / 100, rule.counts * self._wanted.count(size) / rule.within_s)
        return abs(self._slope()) <= limit

    def _take(self, reading: Reading) -> None:
        detail = {**reading.detail, "taken": BY_PRESS if self._pressed else BY_ITSELF}
        if looks_lifted(reading, self._wanted.lifted_v):
            detail["contact"] = BY_WORD
        if self._charged:
            detail["charged"] = True
        self.taken = replace(reading, detail=detail)
        self.hold = Hold.TAKEN

    def _restart(self) -> None:
        self._window.clear()
        self._since = self._rising_since = None
        self._charged = False
