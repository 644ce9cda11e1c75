"""An identifier that comes about twice as often as it should: two senders that take turns, or one that is fast?

Two senders keep their own period each: between their frames the intervals are long and short in turn, and every other
one is alike. One fast sender keeps all intervals alike. Where two happen to send half a period apart that can't be seen
by time; counters in the data then tell: one counter goes on from frame to frame, two from every other frame to the next.
A message of two frames also comes as a short and a long interval; so a short one below a twentieth of the period, and
whatever else fits neither, is left open. The numbers are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from benchcheck.traffic.tallies.payload_table import PayloadTally
from benchcheck.traffic.tallies.source_tally import SourceTally

_TWICE = (Fraction(3, 2), Fraction(5, 2))
_LEAST_FRAMES = 12
_MOSTLY = Fraction(3, 5)
_NEARLY_ALL = Fraction(9, 10)
_SELDOM = Fraction(1, 10)
_BURST_SHARE = 20


class Senders(StrEnum):
    ONE = "one"
    ONE_FAST = "one fast"
    TWO = "two"
    UNCLEAR = "unclear"


@dataclass(frozen=True, slots=True)
class SendersFound:
    """Which it is, and by what."""

    senders: Senders
    text: str = ""


def judge_senders(source: SourceTally, payload: PayloadTally | None, period_ns: int) -> SendersFound:
    """`period_ns` is the expected period; noted gaps of the source (pauses) count for nothing."""
    lengths = source.intervals
    count = lengths.count - source.gap_count
    total = lengths.total_ns - source.gap_total_ns
    if source.count < _LEAST_FRAMES or count <= 0 or total <= 0:
        return SendersFound(Senders.ONE)
    ratio = Fraction(period_ns * count, total)
    if ratio < _TWICE[0]:
        return SendersFound(Senders.ONE)
    often = f"comes {float(ratio):.2f} times as often as it should (every {total / count / 1e9:.3g} s)"
    if ratio > _TWICE[1]:
        return SendersFound(
            Senders.ONE_FAST, f"{often}: more than two senders would make, or a message of several frames"
        )
    told = max(1, lengths.count - 2)
    even, alternating = Fraction(source.even, told), Fraction(source.alternating, told)
    short_ns = lengths.quantile_ns(Fraction(1, 4)) or 0
    if alternating >= _MOSTLY:
        if short_ns * _BURST_SHARE < period_ns:
            return SendersFound(
                Senders.UNCLEAR, f"{often}, two frames at a time: two senders, or a message of two frames"
            )
        return SendersFound(Senders.TWO, f"{often}, with long and short intervals in turn: two senders")
    if even < _NEARLY_ALL:
        return SendersFound(Senders.UNCLEAR, f"{often}, irregularly: two senders or one can't be told")
    one, two = _counters(payload)
    if two >= _MOSTLY and one <= _SELDOM:
        return SendersFound(Senders.TWO, f"{often}, and two counters in its data take turns: two senders")
    if one >= _MOSTLY and two <= _SELDOM:
        return SendersFound(
            Senders.ONE_FAST, f"{often}, and one counter runs through its data: one sender that is fast"
        )
    return SendersFound(
        Senders.UNCLEAR,
        f"{often}, evenly, and no counter in its data tells: one fast sender, or two half a period apart",
    )


def _counters(payload: PayloadTally | None) -> tuple[Fraction, Fraction]:
    if payload is None or payload.frames < _LEAST_FRAMES:
        return Fraction(0), Fraction(0)
    told = payload.frames - 3
    return Fraction(payload.one_step, told), Fraction(payload.two_step, told)
