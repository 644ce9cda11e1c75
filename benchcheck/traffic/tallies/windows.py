"""Bits by window, counted from the origin of a recording: windows of one second, and of one other width if wanted.

Windows of any multiple of a kept width are sums of them, and the same in whatever cut the frames came.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.tallies.pieces import WINDOW_NS, WindowBits
from benchcheck.traffic.tallies.sparse_sums import SparseSums
from benchcheck.traffic.tallies.window_runs import window_sums

Int64s = NDArray[np.int64]


class Windows:
    """Only windows that hold frames take room. Raises ValueError for a width that is not above 0."""

    def __init__(self, origin_ns: int, width_ns: int = WINDOW_NS) -> None:
        if width_ns <= 0:
            raise ValueError("a window must have a width above 0")
        self.origin_ns = origin_ns
        self._kept = {width: SparseSums(2) for width in (WINDOW_NS, width_ns)}

    def update(self, time_ns: Int64s, nominal: Int64s, data: Int64s) -> None:
        """Take in stamps and bits of frames by the rate they were sent at."""
        for width, sums in self._kept.items():
            numbers, slow, fast = window_sums(time_ns, nominal, data, self.origin_ns, width)
            sums.add(numbers, np.stack((slow, fast), axis=1))

    def merge(self, later: Windows) -> None:
        """Raises ValueError where the other one has other windows."""
        if later.origin_ns != self.origin_ns or later._kept.keys() != self._kept.keys():
            raise ValueError("tallies with different windows can't be merged")
        for width, sums in self._kept.items():
            sums.merge(later._kept[width])

    def columns(self, width_ns: int) -> tuple[Int64s, Int64s]:
        """(number of each window that holds frames, ascending; int64[n, 2] its nominal and data-rate bits).

        Raises ValueError for a width that is no multiple of one that is kept.
        """
        kept = next((width for width in sorted(self._kept, reverse=True) if width_ns % width == 0), None)
        if kept is None or width_ns <= 0:
            raise ValueError(f"windows of {width_ns} ns can't be told from those of {sorted(self._kept)} ns")
        numbers, bits = self._kept[kept].columns()
        if kept == width_ns:
            return numbers, bits
        wide = SparseSums(2)
        wide.add(numbers // (width_ns // kept), bits)
        return wide.columns()

    def pieces(self) -> Iterator[tuple[Int64s, Int64s]]:
        """The windows of one second as `columns` gives them, some thousand at a time."""
        return self._kept[WINDOW_NS].pieces()

    def by_number(self, width_ns: int) -> dict[int, WindowBits]:
        """As `columns`, window by window."""
        numbers, bits = self.columns(width_ns)
        return {number: WindowBits(*both) for number, both in zip(numbers.tolist(), bits.tolist(), strict=True)}
