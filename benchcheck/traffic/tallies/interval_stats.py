"""The intervals of frames of one source as integers: count, sum, sum of squares, and a histogram.

The sum of squares of nanoseconds overflows 64 bits within seconds, so it is a Python integer. The histogram has 16 bins
an octave from 1.024 us to 2.4 h, so what is told by it (the median, percentiles) is right to 3.2 % on either side.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from math import isqrt

import numpy as np
from numpy.typing import NDArray

_MANTISSA_BITS = 4
_PER_OCTAVE = 1 << _MANTISSA_BITS
_SHIFT = 52 - _MANTISSA_BITS
_FIRST_OCTAVE = 10  # below 2**10 ns there is one bin
_LAST_OCTAVE = 43
_BIAS = ((1023 + _FIRST_OCTAVE) << _MANTISSA_BITS) - 2

BINS = (_LAST_OCTAVE - _FIRST_OCTAVE) * _PER_OCTAVE + 3
"""Bin 0 is for what is no interval, 1 for below 1.024 us, the last one for 2.4 h and more."""


@dataclass(frozen=True, slots=True)
class IntervalStats:
    """count, sum and sum of squares of intervals in ns, and their histogram as (bin, how many), ascending."""

    count: int
    total_ns: int
    squares_ns2: int
    histogram: tuple[tuple[int, int], ...]

    def deviation_ns(self) -> int | None:
        """Standard deviation of the intervals, rounded down to the nanosecond; None for none."""
        if not self.count:
            return None
        return isqrt(self.count * self.squares_ns2 - self.total_ns * self.total_ns) // self.count

    def quantile_ns(self, share: Fraction) -> int | None:
        """The middle of the bin in which the interval lies that `share` of all are not longer than; None for none."""
        if not self.count:
            return None
        wanted = max(1, -(-self.count * share.numerator // share.denominator))
        upto = accumulate(times for _, times in self.histogram)
        found = next(k for k, seen in enumerate(upto) if seen >= wanted)
        return sum(bin_edges_ns(self.histogram[found][0])) // 2


def bins_of(lengths: NDArray[np.int64]) -> NDArray[np.int64]:
    """int64[n]: the bin of each interval in ns; bin 1 for what is below 0."""
    # the leading bits of a float are octave and place in it; long ones may round up, but are in the last bin anyway
    bins: NDArray[np.int64] = lengths.astype(np.float64).view(np.int64)
    bins >>= _SHIFT
    bins -= _BIAS
    np.maximum(bins, 1, out=bins)
    np.minimum(bins, BINS - 1, out=bins)
    return bins


def bin_edges_ns(number: int) -> tuple[int, int]:
    """From and up to, not including, which length in ns a bin goes; the last one has no end and gives its start twice."""
    start = 1 << _FIRST_OCTAVE
    if number <= 1:
        return 0, start
    octave, part = divmod(number - 2, _PER_OCTAVE)
    low = (start << octave) + (start << octave) * part // _PER_OCTAVE
    if number == BINS - 1:
        return low, low
    return low, low + (start << octave) // _PER_OCTAVE
