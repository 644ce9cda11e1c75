"""Sums of integers by an integer code, held as columns: for windows by their number, for histograms by their bin.

Only codes that came are held, so memory follows what is different, not what is long. Codes that mostly ascend, as the
seconds of a recording of months do, are held packed: pieces of some thousand of them, each in as few bytes as it needs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Int64s = NDArray[np.int64]
Columns = tuple[Int64s, Int64s]
"""int64[k] codes, ascending; int64[k, width] their sums."""

_FEW = 16_384  # rows that may wait before they are summed up, and rows of a piece


@dataclass(frozen=True, slots=True)
class _Piece:
    """Codes first to last, ascending. offsets: from the first one on, None for codes without a hole; sums: None for a
    column of zeros."""

    first: int
    last: int
    rows: int
    offsets: NDArray[np.integer] | None
    sums: tuple[NDArray[np.integer] | None, ...]

    def columns(self) -> Columns:
        offsets = np.arange(self.rows) if self.offsets is None else self.offsets.astype(np.int64)
        sums = np.zeros((self.rows, len(self.sums)), np.int64)
        for k, column in enumerate(self.sums):
            if column is not None:
                sums[:, k] = column
        return offsets + self.first, sums


class SparseSums:
    """int64 sums in `width` columns for each code."""

    def __init__(self, width: int) -> None:
        self._width = width
        self._pieces: list[_Piece] = []
        self._waiting: list[Columns] = []
        self._rows_waiting = 0
        self._rows_moved = 0  # how many the last summing up had to take apart

    def add(self, codes: Int64s, sums: Int64s) -> None:
        """Add int64[n, width] to the codes int64[n], which may come several times and in any order."""
        if not len(codes):
            return
        self._waiting.append((codes, sums.reshape(-1, self._width)))
        self._rows_waiting += len(codes)
        if self._rows_waiting > max(_FEW, self._rows_moved):
            self._settle()

    def merge(self, later: SparseSums) -> None:
        for codes, sums in later.pieces():
            self.add(codes, sums)

    def columns(self) -> Columns:
        """All codes and their sums."""
        return self._joined(self.pieces())

    def pieces(self) -> Iterator[Columns]:
        """The same, some thousand codes at a time."""
        self._settle()
        for piece in self._pieces:
            yield piece.columns()

    def _settle(self) -> None:
        if not self._waiting:
            return
        found = _summed(*self._joined(self._waiting))
        self._waiting, self._rows_waiting = [], 0
        # what lies at or behind the first of them, and a last piece that is small, is put together with them
        first = int(found[0][0])
        taken: list[_Piece] = []
        while self._pieces and (self._pieces[-1].last >= first or (not taken and self._pieces[-1].rows < _FEW)):
            taken.append(self._pieces.pop())
        self._rows_moved = sum(piece.rows for piece in taken)
        if taken:
            found = _summed(*self._joined([*(piece.columns() for piece in reversed(taken)), found]))
        codes, sums = found
        for start in range(0, len(codes), _FEW):
            self._pieces.append(_packed(codes[start : start + _FEW], sums[start : start + _FEW]))

    def _joined(self, parts: Iterable[Columns]) -> Columns:
        codes, sums = zip((np.zeros(0, np.int64), np.zeros((0, self._width), np.int64)), *parts, strict=True)
        return np.concatenate(codes), np.concatenate(sums)


def _summed(codes: Int64s, sums: Int64s) -> Columns:
    """In order, each code once; there must be one."""
    order = np.argsort(codes, kind="stable")
    codes = codes[order]
    starts = np.flatnonzero(np.concatenate(([True], codes[1:] != codes[:-1])))
    return codes[starts], np.add.reduceat(sums[order], starts, axis=0)


def _packed(codes: Int64s, sums: Int64s) -> _Piece:
    first, last, rows = int(codes[0]), int(codes[-1]), len(codes)
    offsets = None if last - first == rows - 1 else _narrow(codes - first)
    return _Piece(first, last, rows, offsets, tuple(_narrow(column) if column.any() else None for column in sums.T))


def _narrow(values: Int64s) -> NDArray[np.integer]:
    """A copy in as few bytes as the greatest needs."""
    if int(values.min()) < 0:
        return values.copy()
    narrow: NDArray[np.integer] = values.astype(np.min_scalar_type(int(values.max())))
    return narrow
