"""Sums of integers by an integer code, held as columns: for windows by their number, for histograms by their bin.

Only codes that came are held, so memory follows what is different, not what is long.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_FEW = 16_384  # rows that may wait before they are summed up


class SparseSums:
    """int64 sums in `width` columns for each code."""

    def __init__(self, width: int) -> None:
        self._width = width
        self._codes = np.zeros(0, np.int64)
        self._sums = np.zeros((0, width), np.int64)
        self._waiting: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []
        self._rows_waiting = 0

    def add(self, codes: NDArray[np.int64], sums: NDArray[np.int64]) -> None:
        """Add int64[n, width] to the codes int64[n], which may come several times and in any order."""
        if not len(codes):
            return
        self._waiting.append((codes, sums))
        self._rows_waiting += len(codes)
        if self._rows_waiting > max(_FEW, len(self._codes)):
            self._settle()

    def merge(self, later: SparseSums) -> None:
        self.add(*later.columns())

    def columns(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """(int64[k] ascending, int64[k, width]); don't change them in place."""
        self._settle()
        return self._codes, self._sums

    def _settle(self) -> None:
        if not self._waiting:
            return
        codes = np.concatenate([self._codes, *(part[0] for part in self._waiting)])
        sums = np.concatenate([self._sums, *(part[1].reshape(-1, self._width) for part in self._waiting)])
        order = np.argsort(codes, kind="stable")
        codes = codes[order]
        starts = np.flatnonzero(np.concatenate(([True], codes[1:] != codes[:-1])))
        self._codes, self._sums = codes[starts], np.add.reduceat(sums[order], starts, axis=0)
        self._waiting, self._rows_waiting = [], 0
