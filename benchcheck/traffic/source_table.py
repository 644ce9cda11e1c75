"""What many sources of frames did, as columns: a row for each identifier (or each unit) of a bus, and no Python object
for each frame.

Times are kept twice: as stamped, and on the recorded clock, which runs only while the recorder's stamps go forward
sensibly (see bus_tally). `segment` counts the clock steps met before: an interval between two segments is no interval.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.interval_stats import BINS, IntervalStats, bins_of
from benchcheck.traffic.slot_rows import SlotEdges, SlotRows, Sorting
from benchcheck.traffic.source_tally import Gap, SourceTally
from benchcheck.traffic.sparse_sums import SparseSums

Int64s = NDArray[np.int64]

_UNWATCHED = np.iinfo(np.int64).max
_HALF = np.uint64(32)
_LOW = np.uint64(0xFFFF_FFFF)
_COLUMNS = ("wire_bits", "intervals", "total", "max_gap", "max_gap_at", "min_gap", "gap_limit", "even", "alternating")


class SourceTable:
    """limit_of   tells from a slot how long a gap must be to be noted, or None
    evenness   whether to count even and alternating intervals
    """

    def __init__(self, limit_of: Callable[[int], int | None] | None = None, *, evenness: bool = False) -> None:
        self.slots = 0
        self._evenness = evenness
        self._limit_of = limit_of
        # stamp, how far the recorded clock is ahead of it, segment
        self._edges = SlotEdges(((np.int64, ()), (np.int64, ()), (np.int64, ())))
        self._columns: dict[str, Int64s] = {name: np.zeros(0, np.int64) for name in _COLUMNS}
        self._squares: NDArray[np.object_] = np.zeros(0, np.object_)
        self._gaps: dict[int, list[Gap]] = {}
        self._histogram = SparseSums(1)

    def update(self, slots: Int64s, time_ns: Int64s, ahead_ns: Int64s, segment: Int64s, bits: Int64s) -> Sorting:
        """Take in the next frames; `slots` are below `self.slots` after `grow`. Gives the order they were sorted in.

        `ahead_ns`: how far the recorded clock is ahead of the stamp, the same throughout a segment.
        """
        counts = np.bincount(slots, minlength=self.slots)
        present = np.flatnonzero(counts)
        # exact: sums of bits of a batch are far below 2**53
        self._columns["wire_bits"][: self.slots] += np.bincount(slots, bits, self.slots).astype(np.int64)
        sorting = self._edges.sorting(slots, present)
        rows = self._edges.rows(sorting, (time_ns, ahead_ns, segment))
        self._tell(rows)
        self._edges.keep(rows)
        return sorting

    def grow(self, slots: int) -> None:
        """Have at least so many slots."""
        if slots <= self.slots:
            return
        have = len(self._squares)
        if slots > have:
            more = max(slots, 2 * have) - have
            self._columns = {
                name: np.concatenate((column, np.zeros(more, np.int64))) for name, column in self._columns.items()
            }
            self._squares = np.concatenate((self._squares, np.zeros(more, np.object_)))
            self._edges.grow(have + more)
        for slot in range(self.slots, slots):
            limit = None if self._limit_of is None else self._limit_of(slot)
            self._columns["gap_limit"][slot] = _UNWATCHED if limit is None else limit
        self._columns["max_gap"][self.slots : slots] = -1
        self._columns["min_gap"][self.slots : slots] = _UNWATCHED
        self.slots = slots

    def merge(self, later: SourceTable, mine_of: Int64s, recorded_ns: int, segments: int) -> None:
        """Take in the part that follows: its slot k is mine_of[k] here, its clock begins `recorded_ns` after mine."""
        if not later.slots:
            return
        edges = later._moved(recorded_ns, segments)
        seam = self._edges.seam(edges, mine_of)
        self._tell(seam)
        self._edges.follow(edges, mine_of, seam)
        mine, theirs = self._columns, {name: column[: later.slots] for name, column in later._columns.items()}
        for name in ("wire_bits", "intervals", "total", "even", "alternating"):
            mine[name][mine_of] += theirs[name]
        self._squares[mine_of] += later._squares[: later.slots]
        longer = theirs["max_gap"] > mine["max_gap"][mine_of]
        mine["max_gap"][mine_of[longer]] = theirs["max_gap"][longer]
        mine["max_gap_at"][mine_of[longer]] = theirs["max_gap_at"][longer]
        mine["min_gap"][mine_of] = np.minimum(mine["min_gap"][mine_of], theirs["min_gap"])
        for slot, gaps in later._gaps.items():
            moved = [gap._replace(recorded_ns=gap.recorded_ns + recorded_ns) for gap in gaps]
            self._gaps.setdefault(int(mine_of[slot]), []).extend(moved)
        codes, sums = later._histogram.columns()
        self._histogram.add(mine_of[codes // BINS] * BINS + codes % BINS, sums)

    def tallies(self) -> list[SourceTally]:
        """One for each slot, as far as known by now."""
        used = slice(self.slots)
        columns = {name: column[used].tolist() for name, column in self._columns.items()}
        counts = self._edges.count[used].tolist()
        times, ahead, segments = (column[used].tolist() for column in self._edges.head)
        last_times, last_ahead, last_segments = (column[used].tolist() for column in self._edges.tail)
        bins: list[list[tuple[int, int]]] = [[] for _ in range(self.slots)]
        codes, sums = self._histogram.columns()
        for code, times_met in zip(codes.tolist(), sums[:, 0].tolist(), strict=True):
            bins[code // BINS].append((code % BINS, times_met))
        found = []
        for slot in range(self.slots):
            is_known = columns["max_gap"][slot] >= 0
            found.append(
                SourceTally(
                    count=counts[slot],
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
                    gaps=list(self._gaps.get(slot, ())),
                    intervals=IntervalStats(
                        columns["intervals"][slot],
                        columns["total"][slot],
                        int(self._squares[slot]),
                        tuple(bins[slot]),
                    ),
                    even=columns["even"][slot],
                    alternating=columns["alternating"][slot],
                )
            )
        return found

    def _moved(self, recorded_ns: int, segments: int) -> SlotEdges:
        """My edges on the clock of an earlier part."""
        made = SlotEdges(((np.int64, ()), (np.int64, ()), (np.int64, ())))
        made.count = self._edges.count
        shifts = (0, recorded_ns, segments)
        made.head = [column + shift for column, shift in zip(self._edges.head, shifts, strict=True)]
        made.tail = [column + shift for column, shift in zip(self._edges.tail, shifts, strict=True)]
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
        columns, slot, starts = self._columns, rows.slot, rows.start
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
        limits = self._columns["gap_limit"][rows.slot]
        if (limits == _UNWATCHED).all():
            return
        for run in np.flatnonzero(np.maximum.reduceat(known, rows.start) > limits).tolist():
            at = np.arange(rows.start[run], rows.end[run])
            at = at[known[at] > limits[run]]
            self._gaps.setdefault(int(rows.slot[run]), []).extend(
                Gap(int(time_ns[k - 1]), int(time_ns[k - 1] + ahead_ns[k - 1]), int(known[k])) for k in at
            )

    def _tell_squares(self, rows: SlotRows, known: Int64s) -> None:
        """Below 4.3 s a square fits in 64 bits, and its halves can be summed; longer ones are few."""
        is_long = known >> 32 != 0
        short = np.where(is_long, 0, known).view(np.uint64) if is_long.any() else known.view(np.uint64)
        square = short * short
        high = np.add.reduceat(square >> _HALF, rows.start).astype(np.object_)
        low = np.add.reduceat(square & _LOW, rows.start).astype(np.object_)
        sums = high * (1 << 32) + low
        if is_long.any():
            at = np.flatnonzero(is_long)
            runs = np.searchsorted(rows.start, at, side="right") - 1
            for run, value in zip(runs.tolist(), known[at].tolist(), strict=True):
                sums[run] += value * value
        self._squares[rows.slot] += sums

    def _tell_histogram(self, rows: SlotRows, length: Int64s, unsound: Int64s) -> None:
        codes = bins_of(length)
        codes[unsound] = 0
        runs = len(rows.slot)
        codes += np.repeat(np.arange(runs) * BINS, rows.length)
        if runs * BINS <= 4 * len(codes) + 4 * BINS:
            times = np.bincount(codes, minlength=runs * BINS)
            times[::BINS] = 0
            at = np.flatnonzero(times)
            times = times[at]
        else:
            at, times = np.unique(codes, return_counts=True)
            at, times = at[at % BINS != 0], times[at % BINS != 0]
        self._histogram.add(rows.slot[at // BINS] * BINS + at % BINS, times)

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
            self._columns[name][rows.slot] += sums
