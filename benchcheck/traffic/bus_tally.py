"""The tally of one bus: integers only, so that any cut into batches and any merge of parts gives the same digits.

`update` takes the tally of a batch into the tally so far, with the same code that merges two parts.

Clock steps. A stamp that goes back, or forward by more than an hour, is a step of the recorder's clock. A step is no
gap: an interval that crosses one counts neither as a silence nor for a period, a longest gap or the median. The
*recorded clock* is the sum of all intervals of the bus that cross no step. How long was recorded, for the load, is
reckoned with more care for single wrong stamps in pieces.py.

Silences. An interval between frames (error frames too: somebody was there) of at least 0.3 s and at least ten times the
median interval of the bus. Where the median is 30 ms or less only the first half of the rule can bite, so intervals up
to 30 ms are merely counted (and the longest of them noted), the longer ones kept by length: the median is exact where
it matters, in little memory.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import accumulate
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.pieces import STEP_FORWARD_NS, WINDOW_NS, Pieces, WindowBits
from benchcheck.traffic.source_tally import Gap, SourceColumns, SourceTally, tally_sources
from benchcheck.traffic.wire_bits import wire_bit_parts
from benchcheck.words.frames import FrameBatch, FrameFlag

K = TypeVar("K")

SILENCE_NS = 300_000_000
SILENCE_MEDIANS = 10
_SHORT_NS = SILENCE_NS // SILENCE_MEDIANS
SILENCE_RULE = "no frame on the whole bus for at least 0.3 s and at least ten times the median time between its frames"
STEP_RULE = "a stamp that goes back, or forward by more than an hour; a step is no gap"


class IdKey(NamedTuple):
    """Base and extended identifiers are different even where the number is the same."""

    can_id: int
    extended: bool

    @property
    def text(self) -> str:
        """Upper-case hex, 3 digits for a base identifier and 8 for an extended one."""
        return f"{self.can_id:08X}" if self.extended else f"{self.can_id:03X}"


class ClockStep(NamedTuple):
    """Stamp of the frame before the step, and the signed difference of the stamps."""

    at_ns: int
    step_ns: int


@dataclass(frozen=True, slots=True)
class Watch:
    """What to keep beyond the plain tally: gaps of an identifier longer than so many ns, and identifiers by group."""

    gap_ns: Mapping[IdKey, int] = field(default_factory=dict)
    group: Mapping[IdKey, str] = field(default_factory=dict)


class BusTally:
    """Everything counted of one bus. One-second windows start at `origin_ns`, the first stamp of the recording.

    `is_part`: whether it may be merged behind an earlier part (see pieces: such a one keeps more).
    """

    def __init__(self, origin_ns: int, watch: Watch | None = None, *, is_part: bool = True) -> None:
        self.origin_ns = origin_ns
        self.pieces = Pieces(is_part)
        self.watch = watch or Watch()
        self.frames = 0
        self.error_frames = 0
        self.nominal_bits = 0
        self.data_rate_bits = 0
        self.first_ns = 0
        self.last_ns = 0
        self.latest_ns = 0
        self.recorded_ns = 0
        self.windows: dict[int, WindowBits] = {}
        self.ids: dict[IdKey, SourceTally] = {}
        self.groups: dict[str, SourceTally] = {}
        self.clock_steps: list[ClockStep] = []
        self._short_intervals = 0
        self._longest_short = 0
        self._long_intervals: Counter[int] = Counter()
        self._quiet: list[Gap] = []

    @property
    def records(self) -> int:
        return self.frames + self.error_frames

    @property
    def wire_bits(self) -> int:
        """All bits of all frames, whatever rate they were sent at; error frames have none."""
        return self.nominal_bits + self.data_rate_bits

    def update(self, batch: FrameBatch) -> None:
        """Take in the next frames of this bus, in recorder order."""
        if len(batch):
            self.merge(_tally_of(batch, self.origin_ns, self.watch))

    def merge(self, later: BusTally) -> None:
        """Take in the tally of the part that follows this one. It must have the same origin and watch."""
        if later.origin_ns != self.origin_ns or later.watch != self.watch:
            raise ValueError("tallies with different origins or watches can't be merged")
        if not later.records:
            return
        self.pieces.merge(later.pieces)
        segments = len(self.clock_steps)
        if self.records:
            between = later.first_ns - self.last_ns
            if _is_step(between):
                self.clock_steps.append(ClockStep(self.last_ns, between))
                segments += 1
                between = 0
            else:
                self._interval(between)
            shift = self.recorded_ns + between
        else:
            self.first_ns = later.first_ns
            self.latest_ns = later.latest_ns
            shift = 0
        for key, tally in later.ids.items():
            _take(self.ids, key, tally, shift, segments, self.watch.gap_ns.get(key))
        for name, tally in later.groups.items():
            _take(self.groups, name, tally, shift, segments, None)
        for index, bits in later.windows.items():
            mine = self.windows.get(index)
            self.windows[index] = (
                bits if mine is None else WindowBits(mine.nominal + bits.nominal, mine.data + bits.data)
            )
        self._quiet += [gap._replace(recorded_ns=gap.recorded_ns + shift) for gap in later._quiet]
        self._short_intervals += later._short_intervals
        self._longest_short = max(self._longest_short, later._longest_short)
        self._long_intervals.update(later._long_intervals)
        self.clock_steps += later.clock_steps
        self.frames += later.frames
        self.error_frames += later.error_frames
        self.nominal_bits += later.nominal_bits
        self.data_rate_bits += later.data_rate_bits
        self.last_ns = later.last_ns
        self.latest_ns = max(self.latest_ns, later.latest_ns)
        self.recorded_ns = shift + later.recorded_ns

    def silence_threshold_ns(self) -> int:
        """The least length of a silence of this bus, by the rule above."""
        total = self._short_intervals + sum(self._long_intervals.values())
        if total // 2 < self._short_intervals or not total:
            return SILENCE_NS
        # twice the median: its two middle intervals, which are the same one when their number is odd
        lengths = sorted(self._long_intervals)
        upto = list(accumulate((self._long_intervals[length] for length in lengths), initial=self._short_intervals))

        def ranked(rank: int) -> int:
            return lengths[bisect_right(upto, rank) - 1] if rank >= self._short_intervals else self._longest_short

        twice = ranked((total - 1) // 2) + ranked(total // 2)
        return max(SILENCE_NS, -(-SILENCE_MEDIANS * twice // 2))

    def silences(self) -> list[Gap]:
        """Silences of the whole bus, in recorder order."""
        least = self.silence_threshold_ns()
        return [gap for gap in self._quiet if gap.length_ns >= least]

    def _interval(self, length: int) -> None:
        if length <= _SHORT_NS:
            self._short_intervals += 1
            self._longest_short = max(self._longest_short, length)
        else:
            self._long_intervals[length] += 1
        if length >= SILENCE_NS:
            self._quiet.append(Gap(self.last_ns, self.recorded_ns, length))


def _take(
    mine: dict[K, SourceTally], key: K, tally: SourceTally, shift: int, segments: int, watch_ns: int | None
) -> None:
    known = mine.get(key)
    if known is None:
        mine[key] = tally.copy()
        mine[key].moved(recorded_ns=shift, segments=segments)
    else:
        known.absorb(tally, recorded_ns=shift, segments=segments, watch_ns=watch_ns)


def _is_step(interval: int) -> bool:
    return interval < 0 or interval > STEP_FORWARD_NS


def _tally_of(batch: FrameBatch, origin_ns: int, watch: Watch) -> BusTally:
    """The tally of one batch alone, on a recorded clock that starts at its first frame."""
    tally = BusTally(origin_ns, watch)
    time_ns = batch.time_ns
    between = np.diff(time_ns)
    is_step = (between < 0) | (between > STEP_FORWARD_NS)
    sound = np.where(is_step, 0, between)
    recorded = np.concatenate((np.zeros(1, np.int64), np.cumsum(sound)))
    segment = np.concatenate((np.zeros(1, np.int64), np.cumsum(is_step, dtype=np.int64)))

    tally.first_ns, tally.last_ns = int(time_ns[0]), int(time_ns[-1])
    tally.latest_ns = int(time_ns.max())
    tally.recorded_ns = int(recorded[-1])
    tally.clock_steps = [ClockStep(int(time_ns[k]), int(between[k])) for k in np.flatnonzero(is_step)]
    intervals = between[~is_step]
    is_short = intervals <= _SHORT_NS
    tally._short_intervals = int(np.count_nonzero(is_short))
    tally._longest_short = int(intervals[is_short].max(initial=0))
    tally._long_intervals = Counter(intervals[~is_short].tolist())
    tally._quiet = [
        Gap(int(time_ns[k]), int(recorded[k]), int(between[k]))
        for k in np.flatnonzero(~is_step & (between >= SILENCE_NS))
    ]

    nominal, data = wire_bit_parts(batch)
    tally.nominal_bits, tally.data_rate_bits = int(nominal.sum()), int(data.sum())
    tally.pieces.update(time_ns, nominal, data)
    tally.windows = _windows(time_ns, nominal, data, origin_ns)

    is_frame = (batch.flags & np.uint16(FrameFlag.ERROR)) == 0
    tally.frames = int(np.count_nonzero(is_frame))
    tally.error_frames = len(batch) - tally.frames
    if not tally.frames:
        return tally
    extended = (batch.flags & np.uint16(FrameFlag.EXTENDED)) != 0
    keys = batch.can_id.astype(np.int64) | (extended.astype(np.int64) << 32)
    columns = SourceColumns(keys, time_ns, recorded, segment, nominal + data).rows(is_frame)
    by_key = tally_sources(columns, {_number(key): limit for key, limit in watch.gap_ns.items()})
    tally.ids = {IdKey(key & 0xFFFFFFFF, bool(key >> 32)): source for key, source in by_key.items()}
    if watch.group:
        tally.groups = _groups(columns, watch.group)
    return tally


def _number(key: IdKey) -> int:
    return key.can_id | (int(key.extended) << 32)


def _windows(
    time_ns: NDArray[np.int64], nominal: NDArray[np.int64], data: NDArray[np.int64], origin_ns: int
) -> dict[int, WindowBits]:
    """Bits by the second they were stamped in, counted from the origin; only windows that hold frames."""
    index = (time_ns - origin_ns) // WINDOW_NS
    starts = np.flatnonzero(np.concatenate(([True], index[1:] != index[:-1])))
    found: dict[int, WindowBits] = {}
    sums = zip(
        index[starts].tolist(),
        np.add.reduceat(nominal, starts).tolist(),
        np.add.reduceat(data, starts).tolist(),
        strict=True,
    )
    for window, slow, fast in sums:
        before = found.get(window, WindowBits(0, 0))
        found[window] = WindowBits(before.nominal + slow, before.data + fast)
    return found


def _groups(columns: SourceColumns, group: Mapping[IdKey, str]) -> dict[str, SourceTally]:
    names = sorted(set(group.values()))
    number_of = {_number(key): names.index(name) for key, name in group.items()}
    distinct, inverse = np.unique(columns.key, return_inverse=True)
    numbers = np.array([number_of.get(int(key), -1) for key in distinct], np.int64)[inverse]
    member = numbers >= 0
    if not member.any():
        return {}
    found = tally_sources(columns._replace(key=numbers).rows(member), {})
    return {names[number]: tally for number, tally in found.items()}
