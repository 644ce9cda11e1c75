"""What is kept of every slot, side by side: a table of 64-bit integers with named fields, one row a slot.

The compiled loops (compiled/counting.c) walk along its rows, so the order of the fields is theirs as well; the vectorised code takes the fields as columns.
"""

from __future__ import annotations

import itertools
from math import prod

import numpy as np
from numpy.typing import NDArray

Fields = dict[str, tuple[int, ...]]


class SlotState:
    """`fields`: the shape of each, () for a plain number. A new row is 0 throughout."""

    def __init__(self, fields: Fields) -> None:
        self.fields = fields
        ends = np.cumsum([0, *(prod(shape) for shape in fields.values())]).tolist()
        self._places = dict(zip(fields, itertools.pairwise(ends), strict=True))
        self.table: NDArray[np.int64] = np.zeros((0, ends[-1]), np.int64)

    def __len__(self) -> int:
        """Rows there is room for."""
        return len(self.table)

    def __getitem__(self, name: str) -> NDArray[np.int64]:
        """int64[room, *shape of the field]: a view, to be changed in place."""
        start, end = self._places[name]
        shape = self.fields[name]
        return self.table[:, start:end].reshape(len(self.table), *shape) if shape else self.table[:, start]

    def unsigned(self, name: str) -> NDArray[np.uint64]:
        """The same as words of 64 bits."""
        return self[name].view(np.uint64)

    def grow(self, slots: int) -> int:
        """Have room for so many slots, or more. Gives how many rows there were."""
        have = len(self.table)
        if slots > have:
            self.table = np.pad(self.table, ((0, max(slots, 2 * have) - have), (0, 0)))
        return have

    def copied(self) -> SlotState:
        made = SlotState(self.fields)
        made.table = self.table.copy()
        return made
