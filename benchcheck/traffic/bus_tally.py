"""The tally of one bus: integers only, so that any cut into batches and any merge of parts gives the same digits.

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
from itertools import accumulate
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.bus_sources import BusSources
from benchcheck.traffic.error_tally import ErrorTally
from benchcheck.traffic.payload_table import PayloadTally
from benchcheck.traffic.pieces import STEP_FORWARD_NS, WINDOW_NS, Pieces, WindowBits
from benchcheck.traffic.signal_tallies import SignalTallies
from benchcheck.traffic.source_tally import Gap, SourceTally
from benchcheck.traffic.watch import IdKey, Watch
from benchcheck.traffic.windows import Windows
from benchcheck.traffic.wire_bits import wire_bit_parts
from benchcheck.words.frames import FrameBatch, FrameFlag

SILENCE_NS = 300_000_000
SILENCE_MEDIANS = 10
_SHORT_NS = SILENCE_NS // SILENCE_MEDIANS
SILENCE_RULE = "no frame on the whole bus for at least 0.3 s and at least ten times the median time between its frames"
STEP_RULE = "a stamp that goes back, or forward by more than an hour; a step is no gap"

_CHUNK = 98_304  # frames taken in together: their columns stay in the processor's cache

__all__ = ["SILENCE_NS", "SILENCE_RULE", "STEP_FORWARD_NS", "STEP_RULE", "BusTally", "ClockStep", "IdKey", "Watch"]


class ClockStep(NamedTuple):
    """Stamp of the frame before the step, and the signed difference of the stamps."""

    at_ns: int
    step_ns: int


class BusTally:
    """Everything counted of one bus. Windows start at `origin_ns`, the first stamp of the recording.

    `is_part`: whether it may be merged behind an earlier part (see pieces: such a one keeps more).
    `window_ns`: width of the windows that are kept beside those of one second (see windows).
    """

    def __init__(
        self, origin_ns: int, watch: Watch | None = None, *, is_part: bool = True, window_ns: int = WINDOW_NS
    ) -> None:
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
        self.clock_steps: list[ClockStep] = []
        self.errors = ErrorTally()
        self.load_windows = Windows(origin_ns, window_ns)
        self._sources = BusSources(self.watch)
        self.signals = SignalTallies(self.watch.signals)
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

    @property
    def ids(self) -> dict[IdKey, SourceTally]:
        """By identifier, in order of first appearance."""
        return self._sources.ids()

    @property
    def groups(self) -> dict[str, SourceTally]:
        """By unit of the watch, those that were heard."""
        return self._sources.groups()

    @property
    def matches(self) -> list[SourceTally | None]:
        """One for each entry of `watch.matches`; None where nothing was heard of it."""
        return self._sources.matches()

    @property
    def windows(self) -> dict[int, WindowBits]:
        """Bits by the second they were stamped in, counted from the origin; only windows that hold frames."""
        return self.load_windows.by_number(WINDOW_NS)

    def payload(self, key: IdKey) -> PayloadTally | None:
        """How the data of an identifier changed; None where no frame with data of it came."""
        return self._sources.payload(key)

    def update(self, batch: FrameBatch) -> None:
        """Take in the next frames of this bus, in recorder order."""
        for start in range(0, len(batch), _CHUNK):
            part = batch if len(batch) <= _CHUNK else rows_of(batch, slice(start, start + _CHUNK))
            self._take(part)

    def merge(self, later: BusTally) -> None:
        """Take in the tally of the part that follows this one. It must have the same origin, watch and windows."""
        if later.origin_ns != self.origin_ns or later.watch != self.watch:
            raise ValueError("tallies with different origins or watches can't be merged")
        if not later.records:
            return
        self.pieces.merge(later.pieces)
        self.load_windows.merge(later.load_windows)
        if self.records:
            between = later.first_ns - self.last_ns
            if _is_step(between):
                self.clock_steps.append(ClockStep(self.last_ns, between))
                between = 0
            else:
                self._interval(between)
            shift = self.recorded_ns + between
        else:
            self.first_ns = later.first_ns
            self.latest_ns = later.latest_ns
            shift = 0
        self._sources.merge(later._sources, shift, len(self.clock_steps))
        self.signals.merge(later.signals)
        self.errors.merge(later.errors)
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

    def _take(self, batch: FrameBatch) -> None:
        """Take in frames that are few enough to be handled together."""
        time_ns = batch.time_ns
        steps = len(self.clock_steps)
        ahead, segment = self._take_intervals(time_ns)
        nominal, data = wire_bit_parts(batch)
        self.nominal_bits += int(nominal.sum())
        self.data_rate_bits += int(data.sum())
        self.pieces.update(time_ns, nominal, data)
        self.load_windows.update(time_ns, nominal, data, in_order=steps == len(self.clock_steps))

        is_error = (batch.flags & np.uint16(FrameFlag.ERROR)) != 0
        errors = int(np.count_nonzero(is_error))
        self.frames += len(batch) - errors
        self.error_frames += errors
        bits = nominal + data
        if errors:
            at = np.flatnonzero(is_error)
            self.errors.update(time_ns[at], batch.can_id[at], batch.data[at])
            kept = np.flatnonzero(~is_error)
            batch, ahead, segment, bits = rows_of(batch, kept), ahead[kept], segment[kept], bits[kept]
        if len(batch):
            self._sources.update(batch, ahead, segment, bits)
            self.signals.update(batch)

    def _take_intervals(self, time_ns: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """(how far the recorded clock is ahead of each stamp, clock steps before it); notes the bus's own intervals."""
        is_first = not self.records
        if is_first:
            self.first_ns = self.latest_ns = self.last_ns = int(time_ns[0])
        before = np.concatenate((np.array([self.last_ns], np.int64), time_ns[:-1]))
        between = time_ns - before
        steps = len(self.clock_steps)
        if int(between.min()) >= 0 and int(between.max()) <= STEP_FORWARD_NS:
            ahead = np.broadcast_to(np.int64(self.recorded_ns - self.last_ns), len(time_ns))
            segment = np.broadcast_to(np.int64(steps), len(time_ns))
            sound, shift = between, ahead
        else:
            is_step = (between < 0) | (between > STEP_FORWARD_NS)
            ahead = self.recorded_ns + np.cumsum(np.where(is_step, 0, between)) - time_ns
            segment = steps + np.cumsum(is_step, dtype=np.int64)
            self.clock_steps += [ClockStep(int(before[k]), int(between[k])) for k in np.flatnonzero(is_step)]
            sound = between[~is_step]
            before, shift = before[~is_step], ahead[~is_step]
        is_long = sound > _SHORT_NS
        longs = sound[is_long]
        self._short_intervals += len(sound) - len(longs) - is_first
        self._longest_short = max(self._longest_short, int((sound[~is_long] if len(longs) else sound).max(initial=0)))
        if len(longs):
            self._long_intervals.update(longs.tolist())
            quiet = np.flatnonzero(sound >= SILENCE_NS)
            self._quiet += [Gap(int(before[k]), int(before[k] + shift[k]), int(sound[k])) for k in quiet]
        self.recorded_ns = int(time_ns[-1] + ahead[-1])
        self.last_ns = int(time_ns[-1])
        self.latest_ns = max(self.latest_ns, int(time_ns.max()))
        return ahead, segment


def rows_of(batch: FrameBatch, chosen: slice | NDArray[np.intp]) -> FrameBatch:
    """Some rows of a batch."""
    return FrameBatch(
        batch.time_ns[chosen],
        batch.bus[chosen],
        batch.can_id[chosen],
        batch.flags[chosen],
        batch.length[chosen],
        batch.data[chosen],
    )


def _is_step(interval: int) -> bool:
    return interval < 0 or interval > STEP_FORWARD_NS
