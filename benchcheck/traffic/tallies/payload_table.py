"""How the data of each identifier changed, as columns: changes, bits that never changed, and counters that take turns.

Frames with data only: a remote frame carries none. Data are compared as 64-bit words, the first byte the lowest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck import compiled
from benchcheck.traffic.tallies.slot_rows import Edge, SlotEdges, SlotRows, Sorting
from benchcheck.traffic.tallies.slot_state import Fields, SlotState
from benchcheck.words.frames import FrameFlag

Int64s = NDArray[np.int64]
Words = NDArray[np.uint64]

_SUMS = ("changes", "one_step", "two_step")
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
        self._state = _state(1)
        self._edges = SlotEdges(self._state, _edges(1))

    def grow(self, slots: int) -> None:
        """Have at least so many slots."""
        if slots <= self.slots:
            return
        have = self._state.grow(slots)
        self._state["shortest"][have:] = _MOST_BYTES
        self.slots = slots

    def update(
        self,
        slots: Int64s,
        data: NDArray[np.uint8],
        length: NDArray[np.uint8],
        flags: NDArray[np.uint16],
        sorting: Sorting | None = None,
    ) -> None:
        """Take in the next frames, of which remote ones have no data: uint8[n, w] with w 8 or 64, unused bytes 0.

        `sorting`: the order in which another table has sorted the same frames: used again where it fits.
        """
        if compiled.counting is not None:
            self._update_compiled(slots, data, length, flags)
            return
        remote = (flags & np.uint16(FrameFlag.REMOTE)) != 0
        if remote.any():
            kept = np.flatnonzero(~remote)
            slots, data, length, sorting = slots[kept], data[kept], length[kept], None
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

    def _update_compiled(
        self, slots: Int64s, data: NDArray[np.uint8], length: NDArray[np.uint8], flags: NDArray[np.uint16]
    ) -> None:
        self._widen(data.shape[1] // 8)
        whole = data if data.flags.c_contiguous else np.ascontiguousarray(data)
        compiled.counting.tell_payload(slots, whole, length, flags, self._state.table, self._steps)

    def merge(self, later: PayloadTable, mine_of: Int64s) -> None:
        """Take in the part that follows: its slot k is mine_of[k] here."""
        if not later.slots:
            return
        self._widen(later._words)
        later._widen(self._words)
        seam = self._edges.seam(later._edges, mine_of)
        self._tell(seam)
        self._edges.follow(later._edges, mine_of, seam)
        mine, theirs = self._state, later._state
        for name in _SUMS:
            mine[name][mine_of] += theirs[name][: later.slots]
        mine["changed"][mine_of] |= theirs["changed"][: later.slots]
        self._note_lengths(mine_of, theirs["shortest"][: later.slots], theirs["longest"][: later.slots])

    def tally(self, slot: int) -> PayloadTally | None:
        """None where no frame with data came."""
        if slot >= self.slots or not self._state["count"][slot]:
            return None
        row = {name: int(self._state[name][slot]) for name in ("count", "shortest", "longest", *_SUMS)}
        return PayloadTally(
            frames=row["count"],
            changes=row["changes"],
            constant_mask=_bytes_of(~self._state["changed"][slot])[: row["shortest"]],
            first=_bytes_of(self._state["first word"][slot, 0])[: int(self._state["first length"][slot, 0])],
            shortest=row["shortest"],
            longest=row["longest"],
            one_step=row["one_step"],
            two_step=row["two_step"],
        )

    def _widen(self, words: int) -> None:
        if words <= self._words:
            return
        state = _state(words)
        state.grow(len(self._state))
        for name, shape in self._state.fields.items():
            wider = state[name]
            if shape and shape[-1] == self._words and name != "first length" and name != "last length":
                wider = wider[..., : self._words]
            wider[...] = self._state[name]
        self._words, self._state = words, state
        self._edges = SlotEdges(state, _edges(words))

    def _note_lengths(self, slot: Int64s, shortest: Int64s, longest: Int64s) -> None:
        state = self._state
        state["shortest"][slot] = np.minimum(state["shortest"][slot], shortest)
        state["longest"][slot] = np.maximum(state["longest"][slot], longest)

    def _tell(self, rows: SlotRows) -> None:
        words, length = rows.columns[0].astype(np.uint64, copy=False), rows.columns[1]
        if len(words) < 2:
            return
        told = rows.counts(1)
        other = np.zeros(len(words), np.bool_)
        np.not_equal(length[1:], length[:-1], out=other[1:])
        changed = self._state.unsigned("changed")
        for k in range(self._words):
            turned = np.zeros(len(words), np.uint64)
            np.bitwise_xor(words[1:, k], words[:-1, k], out=turned[1:])
            turned *= told
            changed[rows.slot, k] |= np.bitwise_or.reduceat(turned, rows.start)
            other |= turned != 0
        other &= told
        self._state["changes"][rows.slot] += np.add.reduceat(other, rows.start, dtype=np.int64)
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
            self._state[name][rows.slot] += sums


def _edges(words: int) -> tuple[Edge, Edge]:
    return Edge("word", words, unsigned=True), Edge("length")


def _state(words: int) -> SlotState:
    """In the order of counting.c."""
    edges = _edges(words)
    first, last = (SlotEdges.fields(edges, which) for which in ("first", "last"))
    sums: Fields = dict.fromkeys((*_SUMS, "shortest", "longest"), ())
    return SlotState({"count": (), **sums, "changed": (words,), **last, **first})


def _bytes_of(words: Int64s) -> bytes:
    return words.astype(np.dtype("<i8")).tobytes()
