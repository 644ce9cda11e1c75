"""What one signal did: how low, how high, for how long without a change. Integers only, so that any cut into batches and
any merge of parts gives the same digits.

Raw numbers are kept; those of a floating-point signal as integers in the same order (see `ordered`).

A stretch without change goes from the first to the last frame of it. An interval longer than `gap_ns`, or one that goes
back (a step of the recorder's clock), adds nothing to it: while nothing came, nothing was seen to stand still.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.signals.signals import SignalColumn
from benchcheck.words.signal import Signal

_MAGNITUDE = (1 << 63) - 1


@dataclass(slots=True)
class Still:
    """A stretch without change: its raw number, the stamp it began at, how long it went on."""

    raw: int
    from_ns: int
    length_ns: int


@dataclass(slots=True)
class Spread:
    """What was seen of a signal that was seen at least once; `low_ns` and `high_ns` are when, the first time."""

    low: int
    low_ns: int
    high: int
    high_ns: int
    first_ns: int
    last_ns: int
    seen_ns: int  # all intervals that count
    changes: int
    head: Still  # the stretch that it begins with
    tail: Still  # the one that it ends with
    longest: Still

    def merge(self, later: Spread, gap_ns: int) -> None:
        """Take in what was seen after this."""
        between = later.first_ns - self.last_ns
        between = between if 0 <= between <= gap_ns else 0
        joined = self.tail.raw == later.head.raw
        met = Still(self.tail.raw, self.tail.from_ns, self.tail.length_ns + between + later.head.length_ns)
        if later.low < self.low:
            self.low, self.low_ns = later.low, later.low_ns
        if later.high > self.high:
            self.high, self.high_ns = later.high, later.high_ns
        if joined and not self.changes:
            self.head = met
        if joined and met.length_ns > self.longest.length_ns:
            self.longest = met
        if later.longest.length_ns > self.longest.length_ns:
            self.longest = later.longest
        self.tail = met if joined and not later.changes else later.tail
        self.changes += later.changes + (not joined)
        self.seen_ns += between + later.seen_ns
        self.last_ns = later.last_ns


class SignalTally:
    """Everything counted of one signal.

    count      frames in which it was there
    too_short  frames that ended before its last bit
    spread     None until it was there once
    """

    def __init__(self, signal: Signal, gap_ns: int) -> None:
        self.signal = signal
        self.gap_ns = gap_ns
        self.count = 0
        self.too_short = 0
        self.spread: Spread | None = None

    def update(self, time_ns: NDArray[np.int64], column: SignalColumn) -> None:
        """Take in the next frames: the stamps of the whole batch, and the signal's column out of it."""
        self.too_short += column.too_short
        self.count += len(column.rows)
        if len(column.rows):
            self._join(_spread(time_ns[column.rows], ordered(column), self.gap_ns))

    def merge(self, later: SignalTally) -> None:
        """Take in the tally of the part that follows this one."""
        if (later.signal, later.gap_ns) != (self.signal, self.gap_ns):
            raise ValueError("tallies of different signals can't be merged")
        self.count += later.count
        self.too_short += later.too_short
        if later.spread is not None:
            self._join(later.spread)

    def value(self, raw: int) -> float:
        """A kept raw number in the signal's unit."""
        number = _number(raw) if self.signal.field.is_float else float(raw)
        return number * self.signal.factor + self.signal.offset

    def _join(self, later: Spread) -> None:
        if self.spread is None:
            # stretches are replaced, never altered, so they may be shared
            self.spread = Spread(**{name: getattr(later, name) for name in Spread.__slots__})
        else:
            self.spread.merge(later, self.gap_ns)


def ordered(column: SignalColumn) -> NDArray[np.int64] | NDArray[np.uint64]:
    """The raw numbers as integers that are in the same order: of floats the pattern of a double, turned round below 0.
    What is not a number lies beyond infinity, on either side."""
    if column.raw.dtype != np.float64:
        return column.raw  # type: ignore[return-value]
    pattern = column.raw.view(np.int64)
    return np.where(pattern < 0, pattern ^ np.int64(_MAGNITUDE), pattern)


def _number(key: int) -> float:
    pattern = key if key >= 0 else key ^ _MAGNITUDE
    return float(struct.unpack("<d", struct.pack("<q", pattern))[0])


def _spread(time_ns: NDArray[np.int64], keys: NDArray[np.int64] | NDArray[np.uint64], gap_ns: int) -> Spread:
    between = np.diff(time_ns)
    between[(between < 0) | (between > gap_ns)] = 0
    clock = np.concatenate((np.zeros(1, np.int64), np.cumsum(between)))
    begins = np.concatenate((np.zeros(1, np.intp), np.flatnonzero(keys[1:] != keys[:-1]) + 1))
    ends = np.append(begins[1:], len(keys)) - 1
    lengths = clock[ends] - clock[begins]

    def still(number: int) -> Still:
        row = int(begins[number])
        return Still(int(keys[row]), int(time_ns[row]), int(lengths[number]))

    low, high = int(keys.argmin()), int(keys.argmax())
    return Spread(
        low=int(keys[low]),
        low_ns=int(time_ns[low]),
        high=int(keys[high]),
        high_ns=int(time_ns[high]),
        first_ns=int(time_ns[0]),
        last_ns=int(time_ns[-1]),
        seen_ns=int(clock[-1]),
        changes=len(begins) - 1,
        head=still(0),
        tail=still(len(begins) - 1),
        longest=still(int(lengths.argmax())),
    )
