"""Frames sorted by whose they are, each run with the last frames from before in front of it.

What is told by neighbours (intervals, changes of data, evenness) is told of the rows that are *fresh*, from them and the
rows before them. A table keeps the first and last few rows of every slot: the last ones go in front of the frames that
come next, and the first ones let an earlier part be put in front later. So a batch, or another part, is taken in by the
same few vector operations, and any cut gives the same digits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.tallies.slot_state import Fields, SlotState

Int64s = NDArray[np.int64]

CONTEXT = 3
"""Rows kept at each end of a slot: as many as the farthest neighbour that anything is told by."""

Columns = tuple[NDArray[np.generic], ...]


@dataclass(frozen=True, slots=True)
class SlotRows:
    """n rows, ordered by slot, then in recorder order.

    slot     int64[r]  slot of each run
    start    int64[r]  first row of each run, the rows from before included
    fresh    int64[r]  first fresh row of each run
    length   int64[r]  rows in each run
    columns  arrays of n rows
    joined   whether the fresh rows were taken in before and only the seam is new
    """

    slot: NDArray[np.int64]
    start: NDArray[np.int64]
    fresh: NDArray[np.int64]
    length: NDArray[np.int64]
    columns: Columns
    joined: bool

    @property
    def end(self) -> NDArray[np.int64]:
        return self.start + self.length

    def counts(self, reach: int) -> NDArray[np.bool_]:
        """bool[n]: rows to be told of that have `reach` rows of their slot before them."""
        told = np.ones(int(self.length.sum()), np.bool_)
        for back in range(max(reach, CONTEXT)):
            # rows from before, and rows with too few in front of them
            at = self.start + back
            inside = back < self.length
            skip = inside & ((back < self.fresh - self.start) | (back < reach))
            told[at[skip]] = False
        if self.joined:  # a fresh row with all its neighbours fresh was told of before
            for rank in range(reach, CONTEXT):
                at = self.fresh + rank
                told[at[at < self.end]] = False
        return told


class Sorting(NamedTuple):
    """The order of rows from before and fresh rows together, and its runs (see SlotRows)."""

    present: NDArray[np.int64]
    held: NDArray[np.int64]  # rows from before of each run
    order: NDArray[np.intp]
    start: NDArray[np.int64]
    length: NDArray[np.int64]


class Edge(NamedTuple):
    """A column of which the ends are kept: words of how many numbers, and whether these have no sign."""

    name: str
    words: int = 1
    unsigned: bool = False


class SlotEdges:
    """The first and last CONTEXT rows of every slot, in the fields of a state that `fields` asks for."""

    def __init__(self, state: SlotState, columns: tuple[Edge, ...]) -> None:
        self._state = state
        self._columns = columns

    @staticmethod
    def fields(columns: tuple[Edge, ...], which: str) -> Fields:
        """The fields of `which` end: first or last."""
        return {
            f"{which} {column.name}": (CONTEXT, column.words) if column.unsigned else (CONTEXT,) for column in columns
        }

    @property
    def count(self) -> Int64s:
        return self._state["count"]

    @property
    def head(self) -> list[NDArray[np.generic]]:
        return self._ends("first")

    @property
    def tail(self) -> list[NDArray[np.generic]]:
        return self._ends("last")

    def _ends(self, which: str) -> list[NDArray[np.generic]]:
        state = self._state
        names = ((f"{which} {column.name}", column.unsigned) for column in self._columns)
        return [state.unsigned(name) if unsigned else state[name] for name, unsigned in names]

    def sorting(self, slots: NDArray[np.int64], present: NDArray[np.int64]) -> Sorting:
        """How to put fresh rows in order behind the rows from before; `present` are the slots in them, ascending."""
        count = self.count
        held = np.minimum(count[present], CONTEXT)
        whole = np.concatenate((np.repeat(present, held), slots))
        # of numbers of 8 or 16 bits it is a radix sort
        most = len(count)
        narrow = whole.astype(np.uint8 if most <= 0x100 else np.uint16) if most <= 0x10000 else whole
        order = np.argsort(narrow, kind="stable")
        length = np.bincount(whole, minlength=1)[present]
        start = np.concatenate((np.zeros(1, np.int64), np.cumsum(length)))[: len(length)]
        return Sorting(present, held, order, start, length)

    def fits(self, sorting: Sorting) -> bool:
        """Whether a sorting made by another table has the rows from before that this one has."""
        held = np.minimum(self.count[sorting.present], CONTEXT)
        return np.array_equal(held, sorting.held)

    def rows(self, sorting: Sorting, columns: Columns, *, joined: bool = False) -> SlotRows:
        """The fresh rows with the rows from before in front."""
        take = np.arange(CONTEXT)[None, :] >= CONTEXT - sorting.held[:, None]
        before = (column[sorting.present][take] for column in self.tail)
        made = tuple(_in_order(sorting, *pair) for pair in zip(before, columns, strict=True))
        start = sorting.start
        return SlotRows(sorting.present, start, start + sorting.held, sorting.length, made, joined)

    def seam(self, later: SlotEdges, mine_of: NDArray[np.int64]) -> SlotRows:
        """My last rows with the first rows of the later part behind them; `mine_of[k]` is my slot of its slot k."""
        there = np.flatnonzero(later.count[: len(mine_of)])
        theirs = there[np.argsort(mine_of[there], kind="stable")]
        present = mine_of[theirs]
        heads = np.minimum(later.count[theirs], CONTEXT)
        take = np.arange(CONTEXT)[None, :] < heads[:, None]
        columns = tuple(column[theirs][take] for column in later.head)
        return self.rows(self.sorting(np.repeat(present, heads), present), columns, joined=True)

    def keep(self, rows: SlotRows) -> None:
        """Note the first and last rows, and count the fresh ones."""
        end, count, head, tail = rows.end, self.count, self.head, self.tail
        begun = count[rows.slot]
        for rank in range(CONTEXT):
            at = rows.fresh + rank - begun  # the row that is number `rank` of its slot
            new = np.flatnonzero((begun <= rank) & (at >= rows.fresh) & (at < end))
            for mine, column in zip(head, rows.columns, strict=True):
                mine[rows.slot[new], rank] = column[at[new]]
        for back in range(CONTEXT):
            at = end - 1 - back
            there = np.flatnonzero(at >= rows.start)
            for mine, column in zip(tail, rows.columns, strict=True):
                mine[rows.slot[there], CONTEXT - 1 - back] = column[at[there]]
        count[rows.slot] += end - rows.fresh

    def follow(self, later: SlotEdges, mine_of: NDArray[np.int64], seam: SlotRows) -> None:
        """As `keep`, for a whole part that follows: its last rows are mine now."""
        self.keep(seam)  # right where the part has no more than CONTEXT rows of a slot
        many = np.flatnonzero(later.count[: len(mine_of)] > CONTEXT)
        self.count[mine_of[many]] += later.count[many] - CONTEXT
        for mine, theirs in zip(self.tail, later.tail, strict=True):
            mine[mine_of[many]] = theirs[many]


def _in_order(sorting: Sorting, before: NDArray[np.generic], fresh: NDArray[np.generic]) -> NDArray[np.generic]:
    if fresh.ndim > 1 or fresh.strides != (0,) or not len(fresh):
        return np.concatenate((before, fresh)).take(sorting.order, axis=0)
    whole = np.empty(len(sorting.order), fresh.dtype)  # one value, spread: no need to carry it about
    whole[:] = fresh[0]
    behind = np.cumsum(sorting.held) - sorting.held
    whole[np.repeat(sorting.start - behind, sorting.held) + np.arange(len(before))] = before
    return whole
