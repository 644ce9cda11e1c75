"""Is a signal what the profile expects: never absurd, never stuck?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchcheck.harness.model import Bus, Harness, Message, SignalRange
from benchcheck.traffic.signals.signal_tally import SignalTally
from benchcheck.traffic.tallies.bus_tally import BusTally
from benchcheck.traffic.tallies.watch import IdKey, SignalWatch
from benchcheck.words.signal import Signal
from benchcheck.words.verdict import Outcome

_SECOND_NS = 1_000_000_000
_LEAST_GAP_S = 1.0
_GAP_WITHOUT_PERIOD_S = 10.0
_PERIODS = 3


@dataclass(frozen=True, slots=True)
class SignalVerdict:
    """state: in_range, absurd, stuck, not_heard, too_few (too short a time to tell whether it is stuck), dropped.

    worst  the value that the verdict rests on, in the signal's unit: the one farthest out, or that it is stuck at;
           None where it was not heard
    """

    expected: SignalRange
    outcome: Outcome
    state: str
    text: str
    worst: float | None = None


def signal_watch(message: Message, signal: Signal) -> SignalWatch:
    """What a tally must keep of a signal. While its message stays away for three periods (at least 1 s; 10 s where no
    period is known) it is nobody's news that its value stands still."""
    gap_s = _GAP_WITHOUT_PERIOD_S if message.period_s is None else max(_LEAST_GAP_S, _PERIODS * message.period_s)
    return SignalWatch(IdKey(message.can_id, message.extended), signal, int(gap_s * _SECOND_NS))


def wanted_signals(harness: Harness, bus: Bus) -> tuple[SignalWatch, ...]:
    """What a tally of this bus must keep so that the profile's signals can be judged from it."""
    return tuple(signal_watch(entry.message, entry.signal) for entry in harness.signals if entry.bus == bus.name)


def signal_tally(expected: SignalRange, tally: BusTally | None) -> SignalTally:
    """The tally of a signal out of that of its bus; an empty one where no frame of that bus came."""
    wanted = signal_watch(expected.message, expected.signal)
    return SignalTally(wanted.signal, wanted.gap_ns) if tally is None else tally.signals.of(wanted.key, wanted.signal)


def judge_signal(expected: SignalRange, tally: SignalTally, *, origin_ns: int, dropped: int = 0) -> SignalVerdict:
    """The verdict, with its evidence; times in it count from `origin_ns`. `dropped`: frames that the adapter lost."""
    spread = tally.spread
    name = expected.name
    if spread is None:
        text = f"{name} was not heard"
        if tally.too_short:
            text = f"{name} is in none of {tally.too_short:,} frames of its message: they end before its last bit"
        return SignalVerdict(expected, Outcome.UNSURE, "not_heard", text)
    ends = [(tally.value(spread.low), spread.low_ns), (tally.value(spread.high), spread.high_ns)]
    beyond = [(_how_far(expected, value), value, at_ns) for value, at_ns in ends]
    out, worst, at_ns = max(beyond, key=lambda entry: entry[0])
    if out > 0:
        text = f"{name} was {_value(expected, worst)} at {_since(at_ns, origin_ns)}: {expected.limits_text} is expected"
        return SignalVerdict(expected, Outcome.FAIL, "absurd", text, worst)
    seen_s = spread.seen_ns / _SECOND_NS
    if expected.stuck_s is not None:
        still, stuck_at = spread.longest, tally.value(spread.longest.raw)
        if still.length_ns >= expected.stuck_s * _SECOND_NS:
            text = (
                f"{name} stayed at {_value(expected, stuck_at)} for {still.length_ns / _SECOND_NS:.3f} s from "
                f"{_since(still.from_ns, origin_ns)} on: it changes within {expected.stuck_s:g} s by the profile"
            )
            if dropped:  # one of those may have been the change
                return SignalVerdict(
                    expected, Outcome.UNSURE, "dropped", f"{text}; {dropped} frames were dropped", stuck_at
                )
            return SignalVerdict(expected, Outcome.FAIL, "stuck", text, stuck_at)
        if not spread.changes:
            text = (
                f"{name} stayed at {_value(expected, stuck_at)}, but was seen for {seen_s:.3f} s only: "
                f"{expected.stuck_s:g} s tell whether it is stuck"
            )
            return SignalVerdict(expected, Outcome.UNSURE, "too_few", text, stuck_at)
    low, high = sorted(value for value, _ in ends)
    text = f"{name} was {_value(expected, low)} to {_value(expected, high)} in {tally.count:,} frames"
    if tally.too_short:
        text += f"; {tally.too_short:,} more were too short to have it"
    if dropped:
        return SignalVerdict(expected, Outcome.UNSURE, "dropped", f"{text}; {dropped} frames were dropped", worst)
    return SignalVerdict(expected, Outcome.PASS, "in_range", text, worst)


def signal_json(verdict: SignalVerdict, tally: SignalTally) -> dict[str, object]:
    """The verdict and what it rests on, for a reading's detail and for the survey."""
    return {
        "verdict": verdict.outcome.value,
        "state": verdict.state,
        "text": verdict.text,
        "worst": _finite(verdict.worst),
        **tally_json(tally),
    }


def tally_json(tally: SignalTally) -> dict[str, object]:
    """What was seen of a signal: values in its unit."""
    spread = tally.spread
    ends = [] if spread is None else sorted((tally.value(spread.low), tally.value(spread.high)))
    return {
        "unit": tally.signal.unit,
        "frames": tally.count,
        "too_short": tally.too_short,
        "low": _finite(ends[0]) if ends else None,
        "high": _finite(ends[1]) if ends else None,
        "changes": None if spread is None else spread.changes,
        "longest_still_s": None if spread is None else spread.longest.length_ns / _SECOND_NS,
    }


def _how_far(expected: SignalRange, value: float) -> float:
    """How far beyond its limits a value is; infinitely, where it is not a number."""
    if math.isnan(value):
        return math.inf
    below = 0.0 if expected.low is None else expected.low - value
    above = 0.0 if expected.high is None else value - expected.high
    return max(below, above, 0.0)


def _value(expected: SignalRange, value: float) -> str:
    unit = f" {expected.signal.unit}" if expected.signal.unit else ""
    return "no number" if math.isnan(value) else f"{value:.9g}{unit}"


def _since(stamp_ns: int, origin_ns: int) -> str:
    return f"{(stamp_ns - origin_ns) / _SECOND_NS:.3f} s"


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
