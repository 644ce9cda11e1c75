"""Intervals counted in narrow bins: 1/512 to 1/256 of their length wide, each with its sum.

The mean of any range of bins is exact, the median and the scatter are to within a bin. Integers in bounded memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

_MANTISSA_BITS = 8
BIN_BITS = 15
"""A bin number of an interval of up to 63 bits has no more."""


class Spread(NamedTuple):
    """Intervals that are not gaps: how many, their mean and standard deviation in ns."""

    number: int
    mean_ns: float
    deviation_ns: float

    @property
    def even(self) -> bool:
        """Whether they are much alike."""
        return self.number >= 3 and 2 * self.deviation_ns < self.mean_ns


@dataclass(slots=True)
class Bins:
    """Intervals by bin: [how many, sum in ns]."""

    counts: dict[int, list[int]] = field(default_factory=dict)

    def add(self, interval_ns: int) -> None:
        self._put(bin_of(interval_ns), 1, interval_ns)

    def add_bin(self, number: int, count: int, total: int) -> None:
        self._put(number, count, total)

    def merge(self, later: Bins) -> None:
        for number, (count, total) in later.counts.items():
            self._put(number, count, total)

    def copy(self) -> Bins:
        return Bins({number: list(both) for number, both in self.counts.items()})

    def median_ns(self) -> int | None:
        """Lower edge of the bin in which the median interval lies; None without intervals."""
        total = sum(count for count, _ in self.counts.values())
        seen = 0
        for number in sorted(self.counts):
            seen += self.counts[number][0]
            if 2 * seen >= total:
                return edge_of(number)
        return None

    def ordinary(self, gap_ns: float) -> Spread:
        """The intervals of less than `gap_ns`, to within a bin."""
        chosen = [self.counts[number] for number in sorted(self.counts) if edge_of(number) < gap_ns]
        count = sum(number for number, _ in chosen)
        if not count:
            return Spread(0, 0.0, 0.0)
        mean = sum(total for _, total in chosen) / count
        square = sum(number * (total / number - mean) ** 2 for number, total in chosen)
        return Spread(count, mean, sqrt(square / max(1, count - 1)))

    def gaps(self, gap_ns: float) -> tuple[int, int]:
        """(how many intervals of at least `gap_ns`, to within a bin; lower edge of the longest in ns)."""
        longer = [number for number in self.counts if edge_of(number) >= gap_ns]
        return sum(self.counts[number][0] for number in longer), max(map(edge_of, longer), default=0)

    def _put(self, number: int, count: int, total: int) -> None:
        mine = self.counts.setdefault(number, [0, 0])
        mine[0] += count
        mine[1] += total


def bin_of(interval_ns: int) -> int:
    """The bin of an interval: its 9 leading bits and how many follow them."""
    shift = max(0, interval_ns.bit_length() - 1 - _MANTISSA_BITS)
    return (shift << _MANTISSA_BITS) + (interval_ns >> shift)


def edge_of(number: int) -> int:
    """Lower edge of a bin in ns."""
    shift = max(0, (number >> _MANTISSA_BITS) - 1)
    return (number - (shift << _MANTISSA_BITS)) << shift


def bins_of(intervals: NDArray[np.int64]) -> NDArray[np.int64]:
    """int64[n]: the bins of a column of intervals."""
    shift = np.zeros(len(intervals), np.int64)
    for step in (32, 16, 8, 4, 2, 1):  # the number of bits behind the leading nine, a power of two at a time
        more = (intervals >> (shift + step)) >= 1 << _MANTISSA_BITS
        shift[more] += step
    return (shift << _MANTISSA_BITS) + (intervals >> shift)
