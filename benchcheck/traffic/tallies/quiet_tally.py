"""The intervals between the frames of a whole bus, and which of them are silences.

A silence is an interval of at least 0.3 s and at least ten times the median interval of the bus. Where the median is 30 ms or
less only the first half of the rule can bite, so intervals up to 30 ms are merely counted (and the longest of them noted).
The longer ones are kept by length as long as no more than some thousand different lengths came; from then on to a
thousandth of their length, and so is the median told. Of very many quiet times the longest are kept. So memory stays
flat, and what is kept follows from the intervals alone, in whatever parts they came.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.tallies.longest_gaps import Gap, LongestGaps

SILENCE_NS = 300_000_000
SILENCE_MEDIANS = 10
SILENCE_RULE = "no frame on the whole bus for at least 0.3 s and at least ten times the median time between its frames"

SHORT_NS = SILENCE_NS // SILENCE_MEDIANS
"""Up to here intervals are merely counted."""
_MOST_LENGTHS = 4096
_SHIFT = 52 - 10  # of a float: what is left is its power of two and a thousandth within
_FIRST = (0x3FF + 24) << 10  # of 17 ms
_BINS = 18 << 10  # up to 73 minutes, longer than any interval that is no step

Int64s = NDArray[np.int64]


class QuietTally:
    """Fed the intervals of a bus that cross no step of the clock."""

    def __init__(self) -> None:
        self._short = 0
        self._longest_short = 0
        self._lengths: Counter[int] | None = Counter()  # of the long ones; None where they are too many
        self._bins: Int64s | None = None  # the same to a thousandth; made when the first one comes
        self._quiet = LongestGaps()

    def update(
        self, short: int, longest_short_ns: int, long_ns: Int64s, start_ns: Int64s, ahead_ns: Int64s | int
    ) -> None:
        """Take in how many intervals up to SHORT_NS came and the longest of them, and all longer ones: their lengths, the stamps
        of the frames before them, and how far the recorded clock is ahead of those."""
        self._short += short
        self._longest_short = max(self._longest_short, longest_short_ns)
        if not len(long_ns):
            return
        codes = (long_ns.astype(np.float64).view(np.int64) >> _SHIFT) - _FIRST
        self._bins = self._bins_made() + np.bincount(codes, minlength=_BINS)
        if self._lengths is not None:
            self._lengths.update(long_ns.tolist())
            self._limit_lengths()
        quiet = long_ns >= SILENCE_NS
        if quiet.any():
            recorded = (start_ns + ahead_ns)[quiet]
            columns = (column.tolist() for column in (start_ns[quiet], recorded, long_ns[quiet]))
            self._quiet.add(Gap(*row) for row in zip(*columns, strict=True))

    def merge(self, later: QuietTally, shift_ns: int) -> None:
        """Take in the part that follows, which began at `shift_ns` of the recorded clock."""
        self._short += later._short
        self._longest_short = max(self._longest_short, later._longest_short)
        if later._bins is not None:
            self._bins = self._bins_made() + later._bins
        if self._lengths is not None and later._lengths is not None:
            self._lengths.update(later._lengths)
            self._limit_lengths()
        else:
            self._lengths = None
        self._quiet.merge(later._quiet, shift_ns)

    def threshold_ns(self) -> int:
        """The least length of a silence of this bus, by the rule above."""
        lengths, times = self._by_length()
        total = self._short + sum(times)
        if total // 2 < self._short or not total:
            return SILENCE_NS
        # twice the median: its two middle intervals, which are the same one when their number is odd
        upto = list(accumulate(times, initial=self._short))

        def ranked(rank: int) -> int:
            return lengths[bisect_right(upto, rank) - 1] if rank >= self._short else self._longest_short

        twice = ranked((total - 1) // 2) + ranked(total // 2)
        return max(SILENCE_NS, -(-SILENCE_MEDIANS * twice // 2))

    def silences(self) -> list[Gap]:
        """Silences of the whole bus, in recorder order; of very many the longest."""
        least = self.threshold_ns()
        return [gap for gap in self._quiet.kept() if gap.length_ns >= least]

    def is_cut(self) -> bool:
        """Whether there were more silences than are kept."""
        return self._quiet.left_out_ns >= self.threshold_ns()

    def _by_length(self) -> tuple[list[int], list[int]]:
        if self._lengths is not None:
            lengths = sorted(self._lengths)
            return lengths, [self._lengths[length] for length in lengths]
        bins = self._bins_made()
        found = np.flatnonzero(bins)
        return ((found + _FIRST) << _SHIFT).view(np.float64).astype(np.int64).tolist(), bins[found].tolist()

    def _bins_made(self) -> Int64s:
        return np.zeros(_BINS, np.int64) if self._bins is None else self._bins

    def _limit_lengths(self) -> None:
        if self._lengths is not None and len(self._lengths) > _MOST_LENGTHS:
            self._lengths = None


def told_apart(lengths: Int64s, start_ns: Int64s, ahead_ns: Int64s) -> tuple[int, int, Int64s, Int64s, Int64s]:
    """What `QuietTally.update` wants of intervals of any length."""
    is_long = lengths > SHORT_NS
    short = lengths[~is_long]
    return len(short), int(short.max(initial=0)), lengths[is_long], start_ns[is_long], ahead_ns[is_long]
