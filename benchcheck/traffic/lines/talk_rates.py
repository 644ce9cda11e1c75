"""How often a talker says each of its types, held against the period that the profile states.

in time     the mean time from one to the next is within 1.5 times the period, either way
too slow    it is longer, or none came for a break after the last one
too fast    it is shorter
irregular   the mean is right, but once none came for a break
too few     times from one to the next for less than a second or two periods, or all bytes with the same stamp

A break is longer than 3 periods, and than a second. A single one is left out of the mean: a line that was listened to twice
has one. A read may come late, so 0.15 s of all the times together prove nothing either way. The numbers are common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import ceil

from benchcheck.harness.model import Talk
from benchcheck.traffic.lines.line_tally import LineTally, TypeTally
from benchcheck.traffic.tallies.pieces import SECOND_NS

FACTOR = 1.5
BREAK_PERIODS = 3.0
BREAK_LEAST_S = 1.0
LATE_READ_S = 0.15


class Pace(StrEnum):
    IN_TIME = "in time"
    TOO_SLOW = "too slow"
    TOO_FAST = "too fast"
    IRREGULAR = "irregular"
    TOO_FEW = "too few"

    @property
    def is_wrong(self) -> bool:
        return self not in (Pace.IN_TIME, Pace.TOO_FEW)


@dataclass(frozen=True, slots=True)
class Rate:
    """Of one type: what its pace is, the mean time from one to the next, and in words what came."""

    pace: Pace
    mean_s: float | None
    text: str


def enough_gaps(period_s: float) -> int:
    """How many times from one to the next it takes to tell the pace."""
    return max(2, ceil(1.0 / period_s))


def rates_of(talk: Talk, tally: LineTally) -> Mapping[str, Rate]:
    """By type, of those that the profile expects and that came; empty where it states no period."""
    if not talk.is_timed:
        return {}
    return {kind: _rate(kind, talk.period_s, tally.types[kind], tally) for kind in talk.types if kind in tally.types}


def wrong_rates(rates: Mapping[str, Rate]) -> list[Rate]:
    """Those that are not as they should be, the surest first."""
    order = (Pace.TOO_SLOW, Pace.TOO_FAST, Pace.IRREGULAR)
    return sorted((rate for rate in rates.values() if rate.pace.is_wrong), key=lambda rate: order.index(rate.pace))


def _rate(kind: str, period_s: float, found: TypeTally, tally: LineTally) -> Rate:
    if tally.first_ns == tally.last_ns:
        return Rate(Pace.TOO_FEW, None, f"{kind}: all at one moment, no period can be told")
    longest_s = (found.max_gap_ns or 0) / SECOND_NS
    since_s = max(0, (tally.last_ns or 0) - found.last_ns) / SECOND_NS
    most_s, wanted = max(BREAK_PERIODS * period_s, BREAK_LEAST_S), f"every {period_s:g} s by the profile"
    gaps, sum_s = found.gaps, found.gap_sum_ns / SECOND_NS
    enough = enough_gaps(period_s)
    if gaps > enough and longest_s > most_s:
        gaps, sum_s = gaps - 1, sum_s - longest_s
    if gaps < enough:
        if max(since_s, longest_s) > most_s:
            text = f"{kind} came {found.count} times, and then not for {max(since_s, longest_s):.2f} s; {wanted}"
            return Rate(Pace.TOO_SLOW, None, text.replace("1 times", "once"))
        return Rate(Pace.TOO_FEW, None, f"{kind}: too few to tell how often it comes; {wanted}")
    mean_s = sum_s / gaps
    text = f"{kind} every {mean_s:.3g} s, {wanted}"
    if sum_s - LATE_READ_S > FACTOR * period_s * gaps:
        return Rate(Pace.TOO_SLOW, mean_s, f"too slow: {text}")
    if sum_s + LATE_READ_S < period_s / FACTOR * gaps:
        return Rate(Pace.TOO_FAST, mean_s, f"too fast: {text}")
    if max(longest_s, since_s) > most_s:
        return Rate(Pace.IRREGULAR, mean_s, f"irregular: {text}, but once none for {max(longest_s, since_s):.2f} s")
    return Rate(Pace.IN_TIME, mean_s, text)
