"""Intervals in the bins of interval_stats (16 an octave), each bin with the sums of what is in it.

Mean and standard deviation of any range of bins are exact; what is told by a bin's edge (the median, which intervals are
gaps) is right to within a bin, a sixteenth of the interval at most. Integers in bounded memory: any cut and any merge
gives the same digits.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import isqrt, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.tallies.interval_stats import BINS, bin_edges_ns, bins_of

__all__ = ["BIN_BITS", "Bins", "Spread", "bin_of", "bin_sums", "bins_of", "edge_of"]

BIN_BITS = (BINS - 1).bit_length()
_HALF_BITS = 20  # a rest is split there, so that no sum of products of a batch overflows 64 bits


class Spread(NamedTuple):
    """Intervals that are not gaps: how many, their mean and standard deviation in ns."""

    number: int
    mean_ns: float
    deviation_ns: float

    @property
    def even(self) -> bool:
        """Whether they are much alike."""
        return self.number >= 3 and 2 * self.deviation_ns < self.mean_ns


class BinSums(NamedTuple):
    """Of the intervals in one bin: how many, their sum, and the sum of the squares of what they are above its edge."""

    times: int
    total_ns: int
    squares_ns2: int

    def plus(self, other: BinSums) -> BinSums:
        """Of both together."""
        return BinSums(self.times + other.times, self.total_ns + other.total_ns, self.squares_ns2 + other.squares_ns2)


_NONE = BinSums(0, 0, 0)


@dataclass(slots=True)
class Bins:
    """Intervals by bin."""

    counts: dict[int, BinSums] = field(default_factory=dict)

    def add(self, interval_ns: int) -> None:
        number = bin_of(interval_ns)
        self.add_bin(number, BinSums(1, interval_ns, (interval_ns - edge_of(number)) ** 2))

    def add_bin(self, number: int, sums: BinSums) -> None:
        self.counts[number] = self.counts.get(number, _NONE).plus(sums)

    def merge(self, later: Bins) -> None:
        for number, sums in later.counts.items():
            self.add_bin(number, sums)

    def copy(self) -> Bins:
        return Bins(dict(self.counts))

    def median_ns(self) -> int | None:
        """Middle of the bin in which the median interval lies; None without intervals."""
        total = sum(sums.times for sums in self.counts.values())
        seen = 0
        for number in sorted(self.counts):
            seen += self.counts[number].times
            if 2 * seen >= total:
                return sum(bin_edges_ns(number)) // 2
        return None

    def ordinary(self, gap_ns: float) -> Spread:
        """The intervals of less than `gap_ns`, to within a bin."""
        count = total = squares = 0
        for number, sums in self.counts.items():
            edge = edge_of(number)
            if edge < gap_ns:
                count += sums.times
                total += sums.total_ns
                # the sum of (edge + rest) squared, out of that of the rests
                squares += sums.squares_ns2 + 2 * edge * sums.total_ns - sums.times * edge * edge
        if not count:
            return Spread(0, 0.0, 0.0)
        # n^2 times the variance is a whole number, so it can be no little bit below 0
        scatter = isqrt(count * squares - total * total)
        return Spread(count, total / count, scatter / sqrt(count * max(1, count - 1)))

    def gaps(self, gap_ns: float) -> tuple[int, int]:
        """(how many intervals of at least `gap_ns`, to within a bin; lower edge of the longest in ns)."""
        longer = [number for number in self.counts if edge_of(number) >= gap_ns]
        return sum(self.counts[number].times for number in longer), max(map(edge_of, longer), default=0)


def bin_of(interval_ns: int) -> int:
    """The bin of one interval."""
    return int(bins_of(np.array([interval_ns], np.int64))[0])


def edge_of(number: int) -> int:
    """Lower edge of a bin in ns."""
    return bin_edges_ns(number)[0]


def bin_sums(bins: NDArray[np.int64], intervals: NDArray[np.int64], starts: NDArray[np.intp]) -> list[BinSums]:
    """The sums of runs of intervals that begin at `starts`; `bins` is the bin of each, the same within a run."""
    numbers = bins[starts]
    edges = np.array([edge_of(number) for number in numbers.tolist()], np.int64)
    counts = np.diff(np.append(starts, len(intervals)))
    rest = intervals - np.repeat(edges, counts)
    upper, lower = rest >> _HALF_BITS, rest & ((1 << _HALF_BITS) - 1)
    columns = (
        np.add.reduceat(column, starts).tolist() for column in (intervals, upper * upper, upper * lower, lower * lower)
    )
    return [
        BinSums(count, total, (high << 2 * _HALF_BITS) + (both << _HALF_BITS + 1) + low)
        for count, total, high, both, low in zip(counts.tolist(), *columns, strict=True)
    ]
