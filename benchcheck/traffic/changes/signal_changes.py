"""What the signals of one identifier came to in two recordings: values out of the earlier range, values that stand still.

The rules stand in changes.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import isfinite

from benchcheck.traffic.changes.change import Change, Grade, Kind
from benchcheck.traffic.signals.signal_tally import SignalTally

SIGNAL_FRAMES = 20
SIGNAL_PARTS = 0.25
CHANGES_DUE = 5.0
_SECOND_NS = 1e9


@dataclass(frozen=True, slots=True)
class SignalSeen:
    """One signal in one recording, seen at least once; values in its unit.

    name     message and signal, as MRU_ATTITUDE.Roll
    settled  whether its range was all there in the first half of the time: it is no counter, nor a slow value on its way
    changes  how often it changed within `seen_s` seconds, pauses of its message left out
    data     numbers of the data bytes that hold it
    """

    name: str
    unit: str
    frames: int
    low: float
    high: float
    settled: bool
    changes: int
    seen_s: float
    data: frozenset[int]

    @property
    def text(self) -> str:
        """Its range in words."""
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.low:.9g}{unit}" if self.low == self.high else f"{self.low:.9g} to {self.high:.9g}{unit}"

    def to_json(self) -> dict[str, object]:
        return {"low": self.low, "high": self.high, "unit": self.unit, "changes": self.changes}


def signal_seen(name: str, tally: SignalTally) -> SignalSeen | None:
    """What a tally holds of a signal; None where it was not seen, or is no number at one end."""
    spread = tally.spread
    if spread is None:
        return None
    low, high = sorted((tally.value(spread.low), tally.value(spread.high)))
    if not (isfinite(low) and isfinite(high)):
        return None
    middle_ns = (spread.first_ns + spread.last_ns) // 2
    field = tally.signal.field
    return SignalSeen(
        name=name,
        unit=tally.signal.unit,
        frames=tally.count,
        low=low,
        high=high,
        settled=max(spread.low_ns, spread.high_ns) <= middle_ns,
        changes=spread.changes,
        seen_s=spread.seen_ns / _SECOND_NS,
        data=frozenset(range(field.first_byte, field.bytes_needed)),
    )


def signal_changes(
    where: str, label: str, was: Sequence[SignalSeen], now: Sequence[SignalSeen], *, still: bool
) -> Iterator[Change]:
    """Changes of the signals of one identifier, which is called `label`.

    still  whether to tell of signals that stand still; not where the whole message does
    """
    later = {signal.name: signal for signal in now}
    for before in was:
        after = later.get(before.name)
        if after is None or before.frames < SIGNAL_FRAMES:
            continue
        outside = max(before.low - after.low, after.high - before.high)
        span = before.high - before.low
        if before.settled and outside > SIGNAL_PARTS * span:
            text = f"{before.name} of {label} is {after.text} now, before {before.text}"
            size = outside / span if span else outside / max(abs(before.low), abs(after.low), abs(after.high)) + 256
            yield Change(Kind.VALUES, Grade.LESSER, before.name, where, text, size, before.to_json(), after.to_json())
        elif still and _stands_still(before, after):
            text = f"{before.name} of {label} stands still at {after.text} now, in {after.frames:,} frames"
            text += f"; it changed {before.changes:,} times before, in {before.seen_s:.0f} s"
            yield Change(
                Kind.STILL, Grade.LESSER, before.name, where, text, after.frames, before.to_json(), after.to_json()
            )


def _stands_still(before: SignalSeen, after: SignalSeen) -> bool:
    if after.changes or after.frames < SIGNAL_FRAMES or before.seen_s <= 0:
        return False
    return before.changes * after.seen_s >= CHANGES_DUE * before.seen_s
