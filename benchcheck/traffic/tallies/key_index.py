"""Numbers the identifiers of a bus in order of first appearance, for whole columns at once.

The number of an identifier is looked up in a small table by a multiplicative hash that has no collision among the
identifiers known so far; what the table says is checked against the identifiers themselves. Where there are too many of
them for such a table they are searched for in sorted order.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchcheck import compiled
from benchcheck.words.frames import FrameFlag

_TABLE_BITS = range(8, 19)
_TRIES = 6
_MOST_HASHED = 1500
_AT_FIRST = 1024
_ODD = 0x9E3779B97F4A7C15  # 2**64 over the golden ratio: the usual multiplier, no source beyond common practice


class KeyIndex:
    """Slots 0, 1, 2... of int64 keys."""

    def __init__(self) -> None:
        self.keys = np.zeros(0, np.int64)
        self._multiplier = np.uint64(_ODD)
        self._shift = np.uint64(64 - _TABLE_BITS.start)
        self._table: NDArray[np.int64] | None = np.zeros(1 << _TABLE_BITS.start, np.int64)
        self._sorted = np.zeros(0, np.int64)
        self._order = np.zeros(0, np.int64)

    def __len__(self) -> int:
        return len(self.keys)

    def slots(self, keys: NDArray[np.int64]) -> NDArray[np.int64]:
        """int64[n]: the slot of each key; a key that is new gets the next one."""
        few = _AT_FIRST  # most often the first frames hold all that is new
        while True:
            slots, known = self._find(keys)
            if known.all():
                return slots
            fresh, first_rows = np.unique(keys[~known][:few], return_index=True)
            self._learn(fresh[np.argsort(first_rows)])
            few *= 16

    def of_frames(self, can_id: NDArray[np.uint32], flags: NDArray[np.uint16]) -> NDArray[np.int64]:
        """int64[n]: the slot of the identifier of each frame; the key of an extended one has bit 32 set."""
        counting = compiled.counting
        if counting is None or self._table is None:
            return self.slots(_keys_of(can_id, flags))
        slots = np.empty(len(can_id), np.int64)
        found, few = 0, _AT_FIRST
        while self._table is not None:
            found += counting.find_slots(
                can_id[found:],
                flags[found:],
                self._table,
                self.keys,
                slots[found:],
                int(self._multiplier),
                int(self._shift),
            )
            if found == len(slots):
                return slots
            self.slots(_keys_of(can_id[found : found + few], flags[found : found + few]))
            few *= 16
        slots[found:] = self.slots(_keys_of(can_id[found:], flags[found:]))
        return slots

    def _find(self, keys: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        if not len(self.keys):
            return np.zeros(len(keys), np.int64), np.zeros(len(keys), np.bool_)
        if self._table is not None:
            hashed = (keys.view(np.uint64) * self._multiplier) >> self._shift
            slots = self._table[hashed.view(np.int64)]
        else:
            places = np.searchsorted(self._sorted, keys)
            slots = self._order[np.minimum(places, len(self._sorted) - 1)]
        return slots, self.keys[slots] == keys

    def _learn(self, fresh: NDArray[np.int64]) -> None:
        self.keys = np.concatenate((self.keys, fresh))
        self._table = self._hash_table() if len(self.keys) <= _MOST_HASHED else None
        if self._table is None:
            self._order = np.argsort(self.keys, kind="stable").astype(np.int64)
            self._sorted = self.keys[self._order]

    def _hash_table(self) -> NDArray[np.int64] | None:
        keys = self.keys.view(np.uint64)
        for bits in _TABLE_BITS:
            if 1 << bits < len(keys):
                continue
            for attempt in range(_TRIES):
                multiplier = np.uint64((_ODD * (2 * attempt + 1)) & 0xFFFF_FFFF_FFFF_FFFF)
                hashed = (keys * multiplier) >> np.uint64(64 - bits)
                if len(np.unique(hashed)) == len(keys):
                    self._multiplier, self._shift = multiplier, np.uint64(64 - bits)
                    table = np.zeros(1 << bits, np.int64)
                    table[hashed.view(np.int64)] = np.arange(len(keys), dtype=np.int64)
                    return table
        return None


def _keys_of(can_id: NDArray[np.uint32], flags: NDArray[np.uint16]) -> NDArray[np.int64]:
    extended = (flags & np.uint16(FrameFlag.EXTENDED)).astype(np.int64)
    return can_id.astype(np.int64) | extended << 32
