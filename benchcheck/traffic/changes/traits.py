"""What is usual of each identifier of a bus: how its frames follow each other, and what its data bytes hold.

Integers only, in bounded memory: any cut into batches and any merge of parts gives the same digits.

Intervals between frames of an identifier are counted in the bins of interval_stats (see interval_bins). An interval that crosses a step of
the recorder's clock counts nowhere. One in which the whole bus paused for 0.3 s or more is counted apart: on a bus that
talks all the time the recorder or the whole bus paused, which is no doing of that identifier.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.changes.interval_bins import BIN_BITS, Bins, bin_sums, bins_of
from benchcheck.traffic.tallies.pieces import STEP_FORWARD_NS
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.frames import FrameBatch, FrameFlag

PAUSE_NS = 300_000_000


@dataclass(slots=True)
class SenderTraits:
    """One identifier. Data bytes of data frames only: `low`, `high`, `ones` (bits always 1), `any_ones` (bits ever 1) of
    each byte, bytes that a short frame does not have left out. `low_at` and `high_at`: how many frames came before the
    first one in which the byte was that low or high."""

    first_ns: int
    last_ns: int
    first_segment: int
    last_segment: int
    first_pauses: int
    last_pauses: int
    count: int = 0
    intervals: Bins = field(default_factory=Bins)
    over_pauses: Bins = field(default_factory=Bins)
    lengths: dict[int, int] = field(default_factory=dict)
    low: list[int] = field(default_factory=list)
    high: list[int] = field(default_factory=list)
    ones: list[int] = field(default_factory=list)
    any_ones: list[int] = field(default_factory=list)
    low_at: list[int] = field(default_factory=list)
    high_at: list[int] = field(default_factory=list)

    @property
    def data_frames(self) -> int:
        """Frames that carry data, or might."""
        return sum(self.lengths.values())

    def all_intervals(self, pauses_too: bool) -> Bins:
        """The intervals, and those over pauses of the whole bus where they are to count as well."""
        if not pauses_too:
            return self.intervals
        joined = self.intervals.copy()
        joined.merge(self.over_pauses)
        return joined

    def settled(self, byte: int) -> bool:
        """Whether the byte's range was all there in the first half of the frames: it isn't that of a counter, or of a
        slow value on its way."""
        return 2 * max(self.low_at[byte], self.high_at[byte]) < self.count

    def merge(self, later: SenderTraits, segments: int, pauses: int) -> None:
        """Take in the part that follows, before which there were so many clock steps and pauses of the bus."""
        if later.first_segment + segments == self.last_segment:
            over = later.first_pauses + pauses > self.last_pauses
            (self.over_pauses if over else self.intervals).add(later.first_ns - self.last_ns)
        self._merge_data(later)
        self.intervals.merge(later.intervals)
        self.over_pauses.merge(later.over_pauses)
        self.count += later.count
        self.last_ns = later.last_ns
        self.last_segment = later.last_segment + segments
        self.last_pauses = later.last_pauses + pauses
        for length, count in later.lengths.items():
            self.lengths[length] = self.lengths.get(length, 0) + count

    def _merge_data(self, later: SenderTraits) -> None:
        """Before the counts are added: places in the later part are moved behind the frames of this one."""
        low_at = [at + self.count for at in later.low_at]
        high_at = [at + self.count for at in later.high_at]
        both = min(len(self.low), len(later.low))
        for k in range(both):
            if later.low[k] < self.low[k]:
                self.low[k], self.low_at[k] = later.low[k], low_at[k]
            if later.high[k] > self.high[k]:
                self.high[k], self.high_at[k] = later.high[k], high_at[k]
            self.ones[k] &= later.ones[k]
            self.any_ones[k] |= later.any_ones[k]
        for mine, more in (
            (self.low, later.low),
            (self.high, later.high),
            (self.ones, later.ones),
            (self.any_ones, later.any_ones),
            (self.low_at, low_at),
            (self.high_at, high_at),
        ):
            mine += more[both:]

    def moved(self, segments: int, pauses: int) -> SenderTraits:
        """The same as the first of its identifier in a part that came later."""
        self.first_segment += segments
        self.last_segment += segments
        self.first_pauses += pauses
        self.last_pauses += pauses
        return self


class BusTraits:
    """Fed the frames of one bus in recorder order."""

    def __init__(self) -> None:
        self.senders: dict[IdKey, SenderTraits] = {}
        self.segments = 0  # clock steps
        self.pauses = 0
        self.intervals = 0  # between any two frames
        self.first_ns: int | None = None
        self.last_ns = 0

    def update(self, batch: FrameBatch) -> None:
        """Take in the next frames of this bus."""
        if len(batch):
            self.merge(_traits_of(batch))

    def merge(self, later: BusTraits) -> None:
        """Take in the traits of the part that follows this one; `later` is used up."""
        if later.first_ns is None:
            return
        segments, pauses = self.segments, self.pauses
        if self.first_ns is None:
            self.first_ns = later.first_ns
        else:
            between = later.first_ns - self.last_ns
            segments += _is_step(between)
            pauses += not _is_step(between) and between >= PAUSE_NS
            self.intervals += 1
        for key, sender in later.senders.items():
            mine = self.senders.get(key)
            if mine is None:
                self.senders[key] = sender.moved(segments, pauses)
            else:
                mine.merge(sender, segments, pauses)
        self.segments = segments + later.segments
        self.pauses = pauses + later.pauses
        self.intervals += later.intervals
        self.last_ns = later.last_ns


def _is_step(interval: int) -> bool:
    return interval < 0 or interval > STEP_FORWARD_NS


def _traits_of(batch: FrameBatch) -> BusTraits:
    """The traits of one batch alone."""
    traits = BusTraits()
    time_ns = batch.time_ns
    between = np.diff(time_ns)
    is_step = (between < 0) | (between > STEP_FORWARD_NS)
    is_pause = ~is_step & (between >= PAUSE_NS)
    traits.first_ns, traits.last_ns = int(time_ns[0]), int(time_ns[-1])
    traits.segments, traits.pauses = int(is_step.sum()), int(is_pause.sum())
    traits.intervals = len(between)
    nought = np.zeros(1, np.int64)
    segment = np.concatenate((nought, np.cumsum(is_step, dtype=np.int64)))
    pause = np.concatenate((nought, np.cumsum(is_pause, dtype=np.int64)))

    frames = np.flatnonzero((batch.flags & np.uint16(FrameFlag.ERROR)) == 0)
    if not len(frames):
        return traits
    extended = (batch.flags[frames] & np.uint16(FrameFlag.EXTENDED)) != 0
    keys = batch.can_id[frames].astype(np.int64) | (extended.astype(np.int64) << 32)
    order = np.argsort(keys, kind="stable")
    rows, keys = frames[order], keys[order]
    starts = np.flatnonzero(np.concatenate(([True], keys[1:] != keys[:-1])))
    ends = np.append(starts[1:], len(keys)) - 1
    times, steps, pauses = time_ns[rows], segment[rows], pause[rows]
    edges = zip(
        *(column[place].tolist() for column in (times, steps, pauses) for place in (starts, ends)),
        (ends + 1 - starts).tolist(),
        strict=True,
    )
    senders = [SenderTraits(*edge) for edge in edges]
    owner = np.repeat(np.arange(len(starts)), ends + 1 - starts)
    _put_intervals(senders, owner, times, steps, pauses)
    _put_data(senders, owner, batch, rows, starts)
    for key, sender in zip(keys[starts].tolist(), senders, strict=True):
        traits.senders[IdKey(key & 0xFFFF_FFFF, bool(key >> 32))] = sender
    return traits


def _put_intervals(
    senders: list[SenderTraits],
    owner: NDArray[np.int64],
    times: NDArray[np.int64],
    steps: NDArray[np.int64],
    pauses: NDArray[np.int64],
) -> None:
    """Columns of frames in order of their senders; `owner` is the index of a frame's sender."""
    sound = np.flatnonzero((owner[1:] == owner[:-1]) & (steps[1:] == steps[:-1]))
    if not len(sound):
        return
    intervals = times[sound + 1] - times[sound]
    over = (pauses[sound + 1] > pauses[sound]).astype(np.int64)
    number = bins_of(intervals)
    where = (owner[sound] << (BIN_BITS + 1)) | (over << BIN_BITS) | number
    order = np.argsort(where, kind="stable")
    where = where[order]
    starts = np.flatnonzero(np.concatenate(([True], where[1:] != where[:-1])))
    sums = bin_sums(number[order], intervals[order], starts)
    for place, one in zip(where[starts].tolist(), sums, strict=True):
        sender = senders[place >> (BIN_BITS + 1)]
        bins = sender.over_pauses if place >> BIN_BITS & 1 else sender.intervals
        bins.add_bin(place & ((1 << BIN_BITS) - 1), one)


def _put_data(
    senders: list[SenderTraits],
    owner: NDArray[np.int64],
    batch: FrameBatch,
    rows: NDArray[np.intp],
    starts: NDArray[np.intp],
) -> None:
    is_data = (batch.flags[rows] & np.uint16(FrameFlag.REMOTE)) == 0
    length = np.where(is_data, batch.length[rows], 0)
    found, counts = np.unique((owner[is_data] << 8) | length[is_data], return_counts=True)
    for place, count in zip(found.tolist(), counts.tolist(), strict=True):
        senders[place >> 8].lengths[place & 255] = count
    data = batch.data[rows]
    there = np.arange(data.shape[1], dtype=np.uint8)[None, :] < length[:, None]
    full = np.where(there, data, np.uint8(255))  # what is not there bounds neither side
    empty = np.where(there, data, np.uint8(0))
    lows, highs = np.minimum.reduceat(full, starts), np.maximum.reduceat(empty, starts)
    columns = zip(
        lows.tolist(),
        highs.tolist(),
        np.bitwise_and.reduceat(full, starts).tolist(),
        np.bitwise_or.reduceat(empty, starts).tolist(),
        _first_at(there & (data == lows[owner]), owner, starts).tolist(),
        _first_at(there & (data == highs[owner]), owner, starts).tolist(),
        strict=True,
    )
    for sender, (low, high, ones, any_ones, low_at, high_at) in zip(senders, columns, strict=True):
        longest = min(max(sender.lengths, default=0), data.shape[1])
        sender.low, sender.high = low[:longest], high[:longest]
        sender.ones, sender.any_ones = ones[:longest], any_ones[:longest]
        sender.low_at, sender.high_at = low_at[:longest], high_at[:longest]


def _first_at(is_there: NDArray[np.bool_], owner: NDArray[np.int64], starts: NDArray[np.intp]) -> NDArray[np.int32]:
    """By sender and byte: the place of its first frame, among its own, for which this is true."""
    place = (np.arange(len(owner)) - starts[owner]).astype(np.int32)
    return np.minimum.reduceat(np.where(is_there, place[:, None], np.int32(2**31 - 1)), starts)


class Traits:
    """All buses of a recording by their index, in whatever cut the batches come."""

    def __init__(self) -> None:
        self.buses: dict[int, BusTraits] = {}

    def update(self, batch: FrameBatch) -> None:
        for number in np.unique(batch.bus).tolist():
            rows = np.flatnonzero(batch.bus == number)
            part = batch if len(rows) == len(batch) else batch.rows(rows)
            self.buses.setdefault(number, BusTraits()).update(part)

    def merge(self, later: Traits) -> None:
        """Take in the part that follows; `later` is used up."""
        for number, bus in later.buses.items():
            self.buses.setdefault(number, BusTraits()).merge(bus)

    def as_values(self) -> Mapping[int, object]:
        """Everything that is held, as plain values: to compare two."""
        return {
            number: (bus.segments, bus.pauses, bus.intervals, bus.first_ns, bus.last_ns, bus.senders)
            for number, bus in self.buses.items()
        }
