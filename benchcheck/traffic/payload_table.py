"""How the data of each identifier changed, as columns: changes, bits that never changed, and counters that take turns.

Frames with data only: a remote frame carries none. Data are compared as 64-bit words, the first byte the lowest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.slot_rows import SlotEdges, SlotRows, Sorting

Int64s = NDArray[np.int64]
Words = NDArray[np.uint64]

_COUNTS = ("changes", "one_step", "two_step")
_MOST_BYTES = 255


@dataclass(frozen=True, slots=True)
class PayloadTally:
    """frames           how many frames with data
    changes             how many of them had other data, or another length, than the one before
    constant_mask       a byte for each that every frame has: its bits that were the same in all frames
    first               the data of the first frame
    shortest, longest   data bytes
    one_step, two_step  how many times the data went on by the same step as before (a counter), or did so only counted
                        from every other frame (two counters that take turns); 0 where nobody is watched
    """

    frames: int
    changes: int
    constant_mask: bytes
    first: bytes
    shortest: int
    longest: int
    one_step: int
    two_step: int


class PayloadTable:
    """A row for each slot of an identifier. `steps`: whether to count the steps of counters."""

    def __init__(self, *, steps: bool = False) -> None:
        self.slots = 0
        self._steps = steps
        self._words = 1
        self._edges = self._made_edges()
        self._counts: dict[str, Int64s] = {name: np.zeros(0, np.int64) for name in _COUNTS}
        self._shortest = np.zeros(0, np.int64)
        self._longest = np.zeros(0, np.int64)
        self._changed: Words = np.zeros((0, 1), np.uint64)

    def grow(self, slots: int) -> None:
        """Have at least so many slots."""
        if slots <= self.slots:
            return
        have = len(self._shortest)
        if slots > have:
            more = max(slots, 2 * have) - have
            none = np.zeros(more, np.int64)
            self._counts = {name: np.concatenate((column, none)) for name, column in self._counts.items()}
            self._shortest = np.concatenate((self._shortest, np.full(more, _MOST_BYTES, np.int64)))
            self._longest = np.concatenate((self._longest, none))
            self._changed = np.concatenate((self._changed, np.zeros((more, self._words), np.uint64)))
            self._edges.grow(have + more)
        self.slots = slots

    def update(
        self, slots: Int64s, data: NDArray[np.uint8], length: NDArray[np.uint8], sorting: Sorting | None = None
    ) -> None:
        """Take in the next frames with data: uint8[n, w] with w 8 or 64, unused bytes 0.

        `sorting`: the order in which another table has sorted the same frames: used again where it fits.
        """
        if not len(slots):
            return
        words = np.ascontiguousarray(data).view(np.dtype("<u8")).astype(np.uint64, copy=False)
        self._widen(words.shape[1])
        if words.shape[1] < self._words:
            words = np.pad(words, ((0, 0), (0, self._words - words.shape[1])))
        if sorting is None or not self._edges.fits(sorting):
            sorting = self._edges.sorting(slots, np.flatnonzero(np.bincount(slots)))
        rows = self._edges.rows(sorting, (words, length))
        self._tell(rows)
        lengths = rows.columns[1]
        self._note_lengths(
            rows.slot,
            np.minimum.reduceat(lengths, rows.start).astype(np.int64),
            np.maximum.reduceat(lengths, rows.start).astype(np.int64),
        )
        self._edges.keep(rows)

    def merge(self, later: PayloadTable, mine_of: Int64s) -> None:
        """Take in the part that follows: its slot k is mine_of[k] here."""
        if not later.slots:
            return
        self._widen(later._words)
        later._widen(self._words)
        seam = self._edges.seam(later._edges, mine_of)
        self._tell(seam)
        self._edges.follow(later._edges, mine_of, seam)
        for name in _COUNTS:
            self._counts[name][mine_of] += later._counts[name][: later.slots]
        self._changed[mine_of] |= later._changed[: later.slots]
        self._note_lengths(mine_of, later._shortest[: later.slots], later._longest[: later.slots])

    def tally(self, slot: int) -> PayloadTally | None:
        """None where no frame with data came."""
        frames = int(self._edges.count[slot]) if slot < self.slots else 0
        if not frames:
            return None
        shortest, longest = int(self._shortest[slot]), int(self._longest[slot])
        first_length = int(np.asarray(self._edges.head[1][slot, 0]))
        return PayloadTally(
            frames=frames,
            changes=int(self._counts["changes"][slot]),
            constant_mask=_bytes_of(~self._changed[slot])[:shortest],
            first=_bytes_of(self._edges.head[0][slot, 0].astype(np.uint64))[:first_length],
            shortest=shortest,
            longest=longest,
            one_step=int(self._counts["one_step"][slot]),
            two_step=int(self._counts["two_step"][slot]),
        )

    def _made_edges(self) -> SlotEdges:
        return SlotEdges(((np.uint64, (self._words,)), (np.uint8, ())))

    def _widen(self, words: int) -> None:
        if words <= self._words:
            return
        more = words - self._words
        self._words = words
        self._changed = np.pad(self._changed, ((0, 0), (0, more)))
        edges = self._made_edges()
        edges.count = self._edges.count
        edges.head = [np.pad(self._edges.head[0], ((0, 0), (0, 0), (0, more))), self._edges.head[1]]
        edges.tail = [np.pad(self._edges.tail[0], ((0, 0), (0, 0), (0, more))), self._edges.tail[1]]
        self._edges = edges

    def _note_lengths(self, slot: Int64s, shortest: Int64s, longest: Int64s) -> None:
        self._shortest[slot] = np.minimum(self._shortest[slot], shortest)
        self._longest[slot] = np.maximum(self._longest[slot], longest)

    def _tell(self, rows: SlotRows) -> None:
        words, length = rows.columns[0].astype(np.uint64, copy=False), rows.columns[1]
        if len(words) < 2:
            return
        told = rows.counts(1)
        other = np.zeros(len(words), np.bool_)
        np.not_equal(length[1:], length[:-1], out=other[1:])
        for k in range(self._words):
            turned = np.zeros(len(words), np.uint64)
            np.bitwise_xor(words[1:, k], words[:-1, k], out=turned[1:])
            turned *= told
            self._changed[rows.slot, k] |= np.bitwise_or.reduceat(turned, rows.start)
            other |= turned != 0
        other &= told
        self._counts["changes"][rows.slot] += np.add.reduceat(other, rows.start, dtype=np.int64)
        if self._steps:
            self._tell_steps(rows, np.ascontiguousarray(words[:, 0]))

    def _tell_steps(self, rows: SlotRows, word: Words) -> None:
        if len(word) < 4:
            return
        told = rows.counts(3)[3:]
        step = word[1:] - word[:-1]  # modulo 2**64
        again = step[2:] == step[1:-1]
        one = told & again & (step[2:] != 0)
        leap = word[2:] - word[:-2]
        two = told & ~again & (leap[1:] == leap[:-1]) & (leap[1:] != 0)
        none = np.zeros(3, np.bool_)
        for name, found in (("one_step", one), ("two_step", two)):
            sums = np.add.reduceat(np.concatenate((none, found)), rows.start, dtype=np.int64)
            self._counts[name][rows.slot] += sums


def _bytes_of(words: NDArray[np.uint64]) -> bytes:
    return words.astype(np.dtype("<u8")).tobytes()
