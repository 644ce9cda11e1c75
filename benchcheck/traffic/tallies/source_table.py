"""What many sources of frames did, as columns: a row for each identifier (or each unit) of a bus, and no Python object
for each frame.

Times are kept twice: as stamped, and on the recorded clock, which runs only while the recorder's stamps go forward
sensibly (see bus_tally). `segment` counts the clock steps met before: an interval between two segments is no interval.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from benchcheck import compiled
from benchcheck.traffic.tallies.interval_stats import BINS, IntervalStats, bins_of
from benchcheck.traffic.tallies.longest_gaps import Gap, LongestGaps
from benchcheck.traffic.tallies.slot_rows import Edge, SlotEdges, SlotRows, Sorting
from benchcheck.traffic.tallies.slot_state import Fields, SlotState
from benchcheck.traffic.tallies.source_tally import SourceTally
from benchcheck.traffic.tallies.sparse_sums import SparseSums

Int64s = NDArray[np.int64]

_UNWATCHED = np.iinfo(np.int64).max
_HALF = np.uint64(32)
_LOW = np.uint64(0xFFFF_FFFF)
_SUMS = ("wire_bits", "intervals", "total", "even", "alternating")
_EDGES = (Edge("time"), Edge("ahead"), Edge("segment"))  # stamp, how far the recorded clock is ahead of it, segment
_FIELDS: Fields = {  # in the order of counting.c
    "count": (),
    **SlotEdges.fields(_EDGES, "last"),
    **dict.fromkeys((*_SUMS, "max_gap", "max_gap_at", "min_gap", "gap_limit"), ()),
    "squares": (2,),  # the lower and the upper 64 bits of the sum
    **SlotEdges.fields(_EDGES, "first"),
}
_DENSE = 256
"""Slots whose histogram is a row of counts; those of further ones are sums by code."""


class SourceTable:
    """limit_of   tells from a slot how long a gap must be to be noted, or None
    evenness   whether to count even and alternating intervals
    """

    def __init__(self, limit_of: Callable[[int], int | None] | None = None, *, evenness: bool = False) -> None:
        self.slots = 0
        self._evenness = evenness
        self._limit_of = limit_of
        self._state = SlotState(_FIELDS)
        self._edges = SlotEdges(self._state, _EDGES)
        self._gaps: dict[int, LongestGaps] = {}
        self._histogram = np.zeros((0, BINS), np.int64)
        self._further = SparseSums(1)

    def update(self, slots: Int64s, time_ns: Int64s, ahead_ns: Int64s, segment: Int64s, bits: Int64s) -> Sorting | None:
        """Take in the next frames; `slots` are below `self.slots` after `grow`, and frames with a negative one are left out.

        `ahead_ns`: how far the recorded clock is ahead of the stamp, the same throughout a segment. Gives the order they
        were sorted in, where that is of use to another table of the same slots.
        """
        if compiled.counting is not None:
            self._update_compiled(slots, time_ns, ahead_ns, segment, bits)
            return None
        if len(slots) and int(slots.min()) < 0:
            at = np.flatnonzero(slots >= 0)
            slots, time_ns, ahead_ns, segment, bits = (
                column[at] for column in (slots, time_ns, ahead_ns, segment, bits)
            )
        if not len(slots):
            return None
        counts = np.bincount(slots, minlength=self.slots)
        present = np.flatnonzero(counts)
        # exact: sums of bits of a batch are far below 2**53
        self._state["wire_bits"][: self.slots] += np.bincount(slots, bits, self.slots).astype(np.int64)
        sorting = self._edges.sorting(slots, present)
        rows = self._edges.rows(sorting, (time_ns, ahead_ns, segment))
        self._tell(rows)
        self._edges.keep(rows)
        return sorting

    def grow(self, slots: int) -> None:
        """Have at least so many slots."""
        if slots <= self.slots:
            return
        self._state.grow(slots)
        limits, fresh = self._state["gap_limit"], slice(self.slots, slots)
        for slot in range(self.slots, slots):
            limit = None if self._limit_of is None else self._limit_of(slot)
            limits[slot] = _UNWATCHED if limit is None else limit
        self._state["max_gap"][fresh] = -1
        self._state["min_gap"][fresh] = _UNWATCHED
        dense = min(slots, _DENSE) - len(self._histogram)
        if dense > 0:
            self._histogram = np.pad(self._histogram, ((0, dense), (0, 0)))
        self.slots = slots

    def merge(self, later: SourceTable, mine_of: Int64s, recorded_ns: int, segments: int) -> None:
        """Take in the part that follows: its slot k is mine_of[k] here, its clock begins `recorded_ns` after mine."""
        if not later.slots:
            return
        edges = later._moved(recorded_ns, segments)
        seam = self._edges.seam(edges, mine_of)
        self._tell(seam)
        self._edges.follow(edges, mine_of, seam)
        mine, theirs = self._state, {name: later._state[name][: later.slots] for name in _FIELDS}
        for name in _SUMS:
            mine[name][mine_of] += theirs[name]
        self._add_squares(mine_of, *theirs["squares"].view(np.uint64).T)
        longer = theirs["max_gap"] > mine["max_gap"][mine_of]
        mine["max_gap"][mine_of[longer]] = theirs["max_gap"][longer]
        mine["max_gap_at"][mine_of[longer]] = theirs["max_gap_at"][longer]
        mine["min_gap"][mine_of] = np.minimum(mine["min_gap"][mine_of], theirs["min_gap"])
        for slot, gaps in later._gaps.items():
            self._gaps.setdefault(int(mine_of[slot]), LongestGaps()).merge(gaps, recorded_ns)
        codes, times = later._bins()
        moved_codes = mine_of[codes // BINS] * BINS + codes % BINS
        order = np.argsort(moved_codes)
        self._add_bins(moved_codes[order], times[order])

    def tallies(self) -> list[SourceTally]:
        """One for each slot, as far as known by now."""
        used = slice(self.slots)
        columns = {name: self._state[name][used].tolist() for name in _FIELDS}
        times, ahead, segments = (columns[f"first {edge.name}"] for edge in _EDGES)
        last_times, last_ahead, last_segments = (columns[f"last {edge.name}"] for edge in _EDGES)
        squares = self._state.unsigned("squares")[used].tolist()
        bins: list[list[tuple[int, int]]] = [[] for _ in range(self.slots)]
        for code, times_met in zip(*(column.tolist() for column in self._bins()), strict=True):
            bins[code // BINS].append((code % BINS, times_met))
        found = []
        none = LongestGaps()
        for slot in range(self.slots):
            gaps = self._gaps.get(slot, none)
            is_known = columns["max_gap"][slot] >= 0
            found.append(
                SourceTally(
                    count=columns["count"][slot],
                    wire_bits=columns["wire_bits"][slot],
                    first_ns=times[slot][0],
                    last_ns=last_times[slot][-1],
                    first_recorded_ns=times[slot][0] + ahead[slot][0],
                    last_recorded_ns=last_times[slot][-1] + last_ahead[slot][-1],
                    first_segment=segments[slot][0],
                    last_segment=last_segments[slot][-1],
                    max_gap_ns=columns["max_gap"][slot] if is_known else None,
                    max_gap_at_ns=columns["max_gap_at"][slot] if is_known else None,
                    min_gap_ns=columns["min_gap"][slot] if is_known else None,
                    gaps=gaps.kept(),
                    gap_count=gaps.count,
                    gap_total_ns=gaps.total_ns,
                    intervals=IntervalStats(
                        columns["intervals"][slot],
                        columns["total"][slot],
                        squares[slot][1] << 64 | squares[slot][0],
                        tuple(bins[slot]),
                    ),
                    even=columns["even"][slot],
                    alternating=columns["alternating"][slot],
                )
            )
        return found

    def _update_compiled(self, slots: Int64s, time_ns: Int64s, ahead_ns: Int64s, segment: Int64s, bits: Int64s) -> None:
        codes, gap_rows, lengths, starts, ahead = np.empty((5, len(slots)), np.int64)
        further, gaps = compiled.counting.tell_sources(
            slots,
            time_ns,
            ahead_ns,
            segment,
            bits,
            self._state.table,
            self._histogram,
            codes,
            gap_rows,
            lengths,
            starts,
            ahead,
            self._evenness,
        )
        by_slot: dict[int, list[Gap]] = {}
        columns = (column[:gaps].tolist() for column in (slots[gap_rows[:gaps]], starts, ahead, lengths))
        for slot, start, lead, length in zip(*columns, strict=True):
            by_slot.setdefault(slot, []).append(Gap(start, start + lead, length))
        for slot, found in by_slot.items():
            self._gaps.setdefault(slot, LongestGaps()).add(found)
        if further:
            at, times = np.unique(codes[:further], return_counts=True)
            self._further.add(at, times)

    def _add_bins(self, codes: Int64s, times: Int64s) -> None:
        """Add to the histograms, by slot * BINS + bin, ascending; no code twice."""
        dense = int(np.searchsorted(codes, len(self._histogram) * BINS))
        self._histogram.reshape(-1)[codes[:dense]] += times[:dense]
        self._further.add(codes[dense:], times[dense:])

    def _bins(self) -> tuple[Int64s, Int64s]:
        """(int64[k] slot * BINS + bin, ascending; int64[k] how many)."""
        dense = self._histogram.reshape(-1)
        codes = np.flatnonzero(dense)
        further, sums = self._further.columns()
        return np.concatenate((codes, further)), np.concatenate((dense[codes], sums[:, 0]))

    def _moved(self, recorded_ns: int, segments: int) -> SlotEdges:
        """My edges on the clock of an earlier part."""
        state = self._state.copied()
        made = SlotEdges(state, _EDGES)
        for columns in (made.head, made.tail):
            for column, shift in zip(columns, (0, recorded_ns, segments), strict=True):
                column += shift  # type: ignore[misc]
        return made

    def _tell(self, rows: SlotRows) -> None:
        """Take in the intervals that end at the rows to be told of."""
        time_ns, ahead_ns, segment = (column.astype(np.int64, copy=False) for column in rows.columns)
        if len(time_ns) < 2:
            return
        length = np.zeros(len(time_ns), np.int64)
        np.subtract(time_ns[1:], time_ns[:-1], out=length[1:])
        sound = rows.counts(1)
        np.logical_and(sound[1:], segment[1:] == segment[:-1], out=sound[1:])
        unsound = np.flatnonzero(~sound)
        known = length.copy()
        known[unsound] = 0
        self._tell_lengths(rows, known, unsound, sound, time_ns)
        self._note_gaps(rows, known, time_ns, ahead_ns)
        self._tell_squares(rows, known)
        self._tell_histogram(rows, length, unsound)
        if self._evenness:
            self._tell_evenness(rows, length, segment)

    def _tell_lengths(
        self, rows: SlotRows, known: Int64s, unsound: Int64s, sound: NDArray[np.bool_], time_ns: Int64s
    ) -> None:
        columns, slot, starts = self._state, rows.slot, rows.start
        count = rows.length - np.bincount(np.searchsorted(starts, unsound, side="right") - 1, minlength=len(slot))
        columns["intervals"][slot] += count
        columns["total"][slot] += np.add.reduceat(known, starts)
        floor = known.copy()
        floor[unsound] = _UNWATCHED
        columns["min_gap"][slot] = np.minimum(columns["min_gap"][slot], np.minimum.reduceat(floor, starts))
        longest = np.where(count > 0, np.maximum.reduceat(known, starts), -1)
        for run in np.flatnonzero(longest > columns["max_gap"][slot]).tolist():
            inside = slice(starts[run], rows.end[run])
            at = starts[run] + int(((known[inside] == longest[run]) & sound[inside]).argmax())
            columns["max_gap"][slot[run]] = longest[run]
            columns["max_gap_at"][slot[run]] = time_ns[at - 1]

    def _note_gaps(self, rows: SlotRows, known: Int64s, time_ns: Int64s, ahead_ns: Int64s) -> None:
        limits = self._state["gap_limit"][rows.slot]
        if (limits == _UNWATCHED).all():
            return
        for run in np.flatnonzero(np.maximum.reduceat(known, rows.start) > limits).tolist():
            at = np.arange(rows.start[run], rows.end[run])
            at = at[known[at] > limits[run]]
            self._gaps.setdefault(int(rows.slot[run]), LongestGaps()).add(
                Gap(int(time_ns[k - 1]), int(time_ns[k - 1] + ahead_ns[k - 1]), int(known[k])) for k in at
            )

    def _tell_squares(self, rows: SlotRows, known: Int64s) -> None:
        """Below 4.3 s a square fits in 64 bits, and its halves can be summed; longer ones are few."""
        is_long = known >> 32 != 0
        short = np.where(is_long, 0, known).view(np.uint64) if is_long.any() else known.view(np.uint64)
        square = short * short
        upper = np.add.reduceat(square >> _HALF, rows.start)
        lower = np.add.reduceat(square & _LOW, rows.start)
        upper += lower >> _HALF
        self._add_squares(rows.slot, upper << _HALF | lower & _LOW, upper >> _HALF)
        at = np.flatnonzero(is_long)
        for run, value in zip(
            (np.searchsorted(rows.start, at, side="right") - 1).tolist(), known[at].tolist(), strict=True
        ):
            high, low = divmod(value * value, 1 << 64)
            self._add_squares(rows.slot[run : run + 1], np.array([low], np.uint64), np.array([high], np.uint64))

    def _add_squares(self, slots: Int64s, low: NDArray[np.uint64], high: NDArray[np.uint64]) -> None:
        """Add numbers of 128 bits; no slot twice."""
        squares = self._state.unsigned("squares")
        sums = squares[slots, 0] + low
        squares[slots, 1] += high + (sums < low)
        squares[slots, 0] = sums

    def _tell_histogram(self, rows: SlotRows, length: Int64s, unsound: Int64s) -> None:
        codes = bins_of(length)
        codes[unsound] = 0
        codes += np.repeat(rows.slot * BINS, rows.length)
        end = self.slots * BINS
        if end <= 4 * len(codes) + 4 * BINS:
            times = np.bincount(codes, minlength=end)
            times[::BINS] = 0
            at = np.flatnonzero(times)
            self._add_bins(at, times[at])
            return
        at, times = np.unique(codes, return_counts=True)
        kept = at % BINS != 0
        self._add_bins(at[kept], times[kept])

    def _tell_evenness(self, rows: SlotRows, length: Int64s, segment: Int64s) -> None:
        """Of each three intervals in a row, a, b, c: are neighbours alike (within 1/8 of their sum), or is every other one?

        One sender keeps its intervals alike. Two senders of one identifier with the same period take turns: neighbours
        differ, every other one is alike.
        """
        if len(length) < 4:
            return
        told = rows.counts(3)[3:] & (segment[3:] == segment[:-3])
        a, b, c = length[3:], length[2:-1], length[1:-2]
        both = (a + b) >> 3
        even = told & (np.abs(a - b) <= both)
        alternating = told & ~even & (np.abs(a - c) <= both)
        none = np.zeros(3, np.bool_)
        for name, found in (("even", even), ("alternating", alternating)):
            sums = np.add.reduceat(np.concatenate((none, found)), rows.start, dtype=np.int64)
            self._state[name][rows.slot] += sums
