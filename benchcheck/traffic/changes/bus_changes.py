"""What changed on one bus between two recordings. The rules stand in changes.py."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf, sqrt

from benchcheck.traffic.changes.change import Change, Grade, Kind
from benchcheck.traffic.changes.data_changes import data_changes
from benchcheck.traffic.changes.interval_bins import Bins, Spread
from benchcheck.traffic.changes.seen import BusSeen
from benchcheck.traffic.changes.traits import SenderTraits
from benchcheck.traffic.tallies.watch import IdKey

STANDARD_ERRORS = 4.0
DUE = 5.0
BURSTS_DUE = 10.0
RATE_PARTS = 0.2
GAP_PERIODS, GAP_LEAST_NS = 3.5, 250_000_000
PERIOD_PARTS, PERIOD_LEAST_NS, PERIOD_INTERVALS = 0.02, 500_000, 5
JITTER_PARTS, JITTER_LEAST_NS, JITTER_INTERVALS = 0.05, 1_000_000, 20
LOAD_POINTS, LOAD_SECONDS = 0.5, 5
ERROR_FRAMES = 4
_MEDIANS = 3.5
_SECOND_NS = 1e9


@dataclass(frozen=True, slots=True)
class _Side:
    """One identifier in one recording: its intervals, and what of them is no gap.

    regular  whether it is sent on time: at even intervals, which fill most of the time from its first frame to the end,
             and a tenth of the recording at least. Bursts (messages of several frames) are not.
    bursts   how many runs of frames there are, with gaps between them
    """

    traits: SenderTraits
    bins: Bins
    spread: Spread
    regular: bool
    bursts: int


class _Bus:
    def __init__(self, name: str, was: BusSeen, now: BusSeen) -> None:
        self.name, self.was, self.now = name, was, now
        self.slow = was.slow or now.slow

    def side(self, bus: BusSeen, key: IdKey) -> _Side | None:
        traits = bus.traits.senders.get(key)
        if traits is None:
            return None
        bins = traits.all_intervals(self.slow)
        median = bins.median_ns()
        # a gap is told by the period, and the period by what is no gap: the median knows neither
        limit = inf if median is None else _MEDIANS * max(1, median)
        spread = bins.ordinary(limit)
        recorded_ns = bus.recorded_s * _SECOND_NS
        filled_ns = spread.number * spread.mean_ns
        present_ns = min(bus.traits.last_ns - traits.first_ns, recorded_ns)
        regular = spread.even and 2 * filled_ns >= present_ns and 10 * filled_ns >= recorded_ns
        return _Side(traits, bins, spread, regular, 1 + bins.gaps(limit)[0])

    def label(self, key: IdKey) -> str:
        unit = self.was.sender_of.get(key) or self.now.sender_of.get(key)
        return f"{key.text} ({unit})" if unit else key.text


def bus_changes(
    name: str,
    was: BusSeen,
    now: BusSeen,
    covered: frozenset[str],
    was_missing: bool,
    now_missing: bool,
    judged: frozenset[str] = frozenset(),
) -> tuple[list[Change], bool]:
    """(changes, whether the periods or bursts of at least one identifier could be compared).

    covered  units of which it is said already that they are gone or new
    was_missing, now_missing  whether frames are missing from the recordings
    judged  signals of which it is said already that they left the profile's limits, or came back
    """
    bus = _Bus(name, was, now)
    changes = [*_errors(bus), *_load(bus)]
    compared = False
    for key in sorted({*was.traits.senders, *now.traits.senders}, key=lambda key: (key.extended, key.can_id)):
        before, after = bus.side(was, key), bus.side(now, key)
        if before is not None and after is not None:
            changes += _both(bus, key, before, after, now_missing, judged)
            compared = compared or min(before.spread.number, after.spread.number) >= PERIOD_INTERVALS
        elif before is not None:
            if was.sender_of.get(key) not in covered:
                changes.append(_gone(bus, key, before, now_missing))
        elif after is not None and now.sender_of.get(key) not in covered:
            changes.append(_new(bus, key, after, was_missing))
    return changes, compared


def _gone(bus: _Bus, key: IdKey, side: _Side, missing: bool) -> Change:
    due = _due(side, bus.now.recorded_s)
    text = f"{bus.label(key)} is gone"
    if key in bus.was.on_occasion:
        grade, text = Grade.LESSER, f"{text}: it is sent on occasion, {_times(side.traits.count)} before"
    elif due is None and not missing and _bursts_due(side, bus.was, bus.now) >= BURSTS_DUE:
        grade, text = Grade.GRAVE, f"{text}: it came {_times(side.traits.count)} before, in {side.bursts:,} bursts"
    elif due is None:
        grade, text = Grade.UNSURE, f"{text}: it came {_times(side.traits.count)} before, and not at regular intervals"
    elif due < DUE:
        grade, text = Grade.UNSURE, f"{text}: but the second recording is too short, {due:.1f} of it were due"
    elif missing:
        grade, text = Grade.UNSURE, f"{text}: but frames are missing from the second recording"
    else:
        grade, text = Grade.GRAVE, f"{text}: {due:.0f} of it were due (period {_ms(side.spread.mean_ns)})"
    return Change(Kind.GONE, grade, key.text, bus.name, text, due or 0.0, side.traits.count, 0)


def _new(bus: _Bus, key: IdKey, side: _Side, missing: bool) -> Change:
    due = _due(side, bus.was.recorded_s)
    count = side.traits.count
    known = bus.now.sender_of.get(key)
    text = f"{bus.label(key)} is new, {_times(count)}"
    if key in bus.now.on_occasion:
        grade, text = Grade.LESSER, f"{text}: it is sent on occasion"
    elif due is None and not missing and not known and _bursts_due(side, bus.now, bus.was) >= BURSTS_DUE:
        grade, text = Grade.GRAVE, f"{text}, in {side.bursts:,} bursts"
    elif due is None:
        grade, text = Grade.UNSURE, f"{text}, not at regular intervals"
    elif due < DUE:
        grade, text = Grade.UNSURE, f"{text}: but the first recording was too short, {due:.1f} of it were due"
    elif missing:
        grade, text = Grade.UNSURE, f"{text}: but frames are missing from the first recording"
    elif known:
        grade, text = Grade.BETTER, f"{text}: the profile wants it"
    else:
        grade = Grade.GRAVE
        text += f" (period {_ms(side.spread.mean_ns)}); of the first recording {due:.0f} were due"
    return Change(Kind.NEW, grade, key.text, bus.name, text, due or 0.0, 0, count)


def _due(side: _Side, recorded_s: float) -> float | None:
    """How many of a regular message belong into so much time; None for one that is not."""
    return recorded_s * _SECOND_NS / side.spread.mean_ns if side.regular else None


def _bursts_due(side: _Side, its: BusSeen, other: BusSeen) -> float:
    """How many bursts belong into the other recording."""
    return side.bursts * other.recorded_s / its.recorded_s if its.recorded_s > 0 else 0.0


def _both(
    bus: _Bus, key: IdKey, before: _Side, after: _Side, missing: bool, judged: frozenset[str]
) -> Iterator[Change]:
    yield from _gaps(bus, key, before, after, missing)
    if before.regular and after.regular:
        yield from _period(bus, key, before.spread, after.spread)
        yield from _jitter(bus, key, before.spread, after.spread)
    elif not before.regular and key not in bus.was.on_occasion:
        yield from _rate(bus, key, before, after)
    signals = (bus.was.signals.get(key, ()), bus.now.signals.get(key, ()))
    yield from data_changes(bus.name, key, bus.label(key), (before.traits, after.traits), signals, judged)


def _gaps(bus: _Bus, key: IdKey, before: _Side, after: _Side, missing: bool) -> Iterator[Change]:
    if not before.regular or key in bus.was.on_occasion:
        return
    limit = max(GAP_PERIODS * before.spread.mean_ns, GAP_LEAST_NS)
    was, _ = before.bins.gaps(limit)
    # at a new period, what would be a gap at the old one is none
    now, longest = after.bins.gaps(max(limit, GAP_PERIODS * after.spread.mean_ns))
    text = f"{bus.label(key)} has {_gap_words(now)} now, {_gap_words(was)} before"
    text += f"; the longest {longest / _SECOND_NS:.2f} s (period {_ms(before.spread.mean_ns)})" if now else ""
    figures = (now / max(1, after.spread.number), was, now)
    more = _grew(was, bus.was.recorded_s, now, bus.now.recorded_s)
    if more is None or (now > was and bus.slow and bus.now.silences):
        yield Change(Kind.GAPS, Grade.UNSURE, key.text, bus.name, f"{text}: too few to tell", *figures)
    elif more:
        grade = Grade.UNSURE if missing else Grade.GRAVE
        text += "; but frames are missing from the second recording" if missing else ""
        yield Change(Kind.GAPS, grade, key.text, bus.name, text, *figures)
    elif was and not now and was * bus.now.recorded_s >= DUE * bus.was.recorded_s:
        yield Change(Kind.GAPS, Grade.BETTER, key.text, bus.name, text, *figures)


def _grew(was: int, was_s: float, now: int, now_s: float) -> bool | None:
    """Whether something comes more often than before; None where the first recording is too short to tell."""
    if not now or was_s <= 0 or now_s <= 0:
        return False
    if not was:
        return True if now * was_s >= now_s else None
    rate_was, rate_now = was / was_s, now / now_s
    beyond = rate_now - rate_was > STANDARD_ERRORS * sqrt(was / was_s**2 + now / now_s**2)
    return beyond and rate_now > 1.5 * rate_was


def _period(bus: _Bus, key: IdKey, was: Spread, now: Spread) -> Iterator[Change]:
    if min(was.number, now.number) < PERIOD_INTERVALS:
        return
    change = now.mean_ns - was.mean_ns
    error = sqrt(was.deviation_ns**2 / was.number + now.deviation_ns**2 / now.number)
    if abs(change) <= max(STANDARD_ERRORS * error, PERIOD_PARTS * was.mean_ns, PERIOD_LEAST_NS):
        return
    text = f"{bus.label(key)} comes every {_ms(now.mean_ns)} now, every {_ms(was.mean_ns)} before"
    size = abs(change) / was.mean_ns
    yield Change(
        Kind.PERIOD, Grade.GRAVE, key.text, bus.name, text, size, was.mean_ns / _SECOND_NS, now.mean_ns / _SECOND_NS
    )


def _jitter(bus: _Bus, key: IdKey, was: Spread, now: Spread) -> Iterator[Change]:
    if min(was.number, now.number) < JITTER_INTERVALS:
        return
    change = now.deviation_ns - was.deviation_ns
    error = sqrt(was.deviation_ns**2 / (2 * was.number) + now.deviation_ns**2 / (2 * now.number))
    if abs(change) <= max(STANDARD_ERRORS * error, JITTER_PARTS * was.mean_ns, JITTER_LEAST_NS):
        return
    grade = Grade.LESSER if change > 0 else Grade.BETTER
    text = f"{bus.label(key)} scatters by {_ms(now.deviation_ns)} now, by {_ms(was.deviation_ns)} before"
    text += f" (standard deviation, period {_ms(was.mean_ns)})"
    figures = (was.deviation_ns / _SECOND_NS, now.deviation_ns / _SECOND_NS)
    yield Change(Kind.JITTER, grade, key.text, bus.name, text, abs(change) / was.mean_ns, *figures)


def _rate(bus: _Bus, key: IdKey, was: _Side, now: _Side) -> Iterator[Change]:
    """Of what is not sent on time only how often it comes can be compared, and bursts count as one."""
    was_s, now_s = bus.was.recorded_s, bus.now.recorded_s
    if was_s <= 0 or now_s <= 0:
        return
    rate_was, rate_now = was.bursts / was_s, now.bursts / now_s
    error = sqrt(was.bursts / was_s**2 + now.bursts / now_s**2)
    if abs(rate_now - rate_was) > max(STANDARD_ERRORS * error, RATE_PARTS * rate_was):
        text = (
            f"{bus.label(key)} comes {60 * rate_now:.3g} times a minute now, {60 * rate_was:.3g} before (bursts as one)"
        )
        size = abs(rate_now - rate_was) / rate_was
        yield Change(Kind.RATE, Grade.LESSER, key.text, bus.name, text, size, round(rate_was, 6), round(rate_now, 6))


def _errors(bus: _Bus) -> Iterator[Change]:
    was, now = bus.was.error_frames, bus.now.error_frames
    text = f"{now:,} error frames now, {was:,} before"
    if not was and 0 < now < ERROR_FRAMES:
        yield Change(Kind.ERRORS, Grade.UNSURE, bus.name, bus.name, f"{text}: too few to tell", now, was, now)
        return
    more = _grew(was, bus.was.recorded_s, now, bus.now.recorded_s)
    if more is None:
        yield Change(Kind.ERRORS, Grade.UNSURE, bus.name, bus.name, f"{text}: the first was too short", now, was, now)
    elif more:
        yield Change(Kind.ERRORS, Grade.GRAVE, bus.name, bus.name, text, now, was, now)
    elif was and _grew(now, bus.now.recorded_s, was, bus.was.recorded_s):
        yield Change(Kind.ERRORS, Grade.BETTER, bus.name, bus.name, text, was, was, now)


def _load(bus: _Bus) -> Iterator[Change]:
    was, now = bus.was.load, bus.now.load
    if min(was.seconds, now.seconds) < LOAD_SECONDS:
        return
    change = now.mean - was.mean
    error = sqrt(was.deviation**2 / was.seconds + now.deviation**2 / now.seconds)
    if abs(change) <= max(STANDARD_ERRORS * error, LOAD_POINTS):
        return
    limit = bus.now.max_load_percent
    text = f"load {now.mean:.2f} % now, {was.mean:.2f} % before (mean of whole seconds)"
    grade = Grade.LESSER
    if limit is not None and was.mean <= limit < now.mean:
        grade, text = Grade.GRAVE, f"{text}; at most {limit:g} % is allowed (profile)"
    yield Change(Kind.LOAD, grade, bus.name, bus.name, text, abs(change), round(was.mean, 6), round(now.mean, 6))


def _ms(value_ns: float) -> str:
    return f"{value_ns / 1e6:.2f} ms" if value_ns < 1e9 else f"{value_ns / 1e9:.3f} s"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count:,} times"


def _gap_words(count: int) -> str:
    return "no gap" if not count else "1 gap" if count == 1 else f"{count:,} gaps"
