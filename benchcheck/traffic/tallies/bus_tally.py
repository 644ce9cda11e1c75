"""The tally of one bus: integers only, so that any cut into batches and any merge of parts gives the same digits.

Clock steps. A stamp that goes back, or forward by more than an hour, is a step of the recorder's clock. A step is no
gap: an interval that crosses one counts neither as a silence nor for a period, a longest gap or the median. The
*recorded clock* is the sum of all intervals of the bus that cross no step. How long was recorded, for the load, is
reckoned with more care for single wrong stamps in pieces.py.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.signals.signal_tallies import SignalTallies
from benchcheck.traffic.tallies.batch_sums import BatchSums, batch_sums
from benchcheck.traffic.tallies.bus_sources import BusSources
from benchcheck.traffic.tallies.error_tally import ErrorTally
from benchcheck.traffic.tallies.longest_gaps import Gap
from benchcheck.traffic.tallies.payload_table import PayloadTally
from benchcheck.traffic.tallies.pieces import STEP_FORWARD_NS, WINDOW_NS, Pieces, WindowBits
from benchcheck.traffic.tallies.quiet_tally import SILENCE_RULE, QuietTally, told_apart
from benchcheck.traffic.tallies.source_tally import SourceTally
from benchcheck.traffic.tallies.watch import IdKey, Watch
from benchcheck.traffic.tallies.windows import Windows
from benchcheck.traffic.wire.wire_bits import wire_bit_parts
from benchcheck.words.frames import FrameBatch, FrameFlag

STEP_RULE = "a stamp that goes back, or forward by more than an hour; a step is no gap"

Int64s = NDArray[np.int64]

_CHUNK = 98_304  # frames taken in together: their columns stay in the processor's cache

__all__ = ["SILENCE_RULE", "STEP_FORWARD_NS", "STEP_RULE", "BusTally", "ClockStep", "IdKey", "Watch"]


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
        self._quiet = QuietTally()

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

    @property
    def _ahead_ns(self) -> int:
        """How far the recorded clock is ahead of the last stamp."""
        return self.recorded_ns - self.last_ns

    def update(self, batch: FrameBatch) -> None:
        """Take in the next frames of this bus, in recorder order."""
        for start in range(0, len(batch), _CHUNK):
            part = batch if len(batch) <= _CHUNK else batch.rows(slice(start, start + _CHUNK))
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
                values = (np.array([value], np.int64) for value in (between, self.last_ns, self._ahead_ns))
                self._quiet.update(*told_apart(*values))
            shift = self.recorded_ns + between
        else:
            self.first_ns = later.first_ns
            self.latest_ns = later.latest_ns
            shift = 0
        self._sources.merge(later._sources, shift, len(self.clock_steps))
        self.signals.merge(later.signals)
        self.errors.merge(later.errors)
        self._quiet.merge(later._quiet, shift)
        self.clock_steps += later.clock_steps
        self.frames += later.frames
        self.error_frames += later.error_frames
        self.nominal_bits += later.nominal_bits
        self.data_rate_bits += later.data_rate_bits
        self.last_ns = later.last_ns
        self.latest_ns = max(self.latest_ns, later.latest_ns)
        self.recorded_ns = shift + later.recorded_ns

    def silence_threshold_ns(self) -> int:
        """The least length of a silence of this bus (see quiet_tally)."""
        return self._quiet.threshold_ns()

    def silences(self) -> list[Gap]:
        """Silences of the whole bus, in recorder order; of very many the longest."""
        return self._quiet.silences()

    def silences_left_out(self) -> bool:
        """Whether there were more silences than `silences` gives."""
        return self._quiet.is_cut()

    def _take(self, batch: FrameBatch) -> None:
        """Take in frames that are few enough to be handled together."""
        if not self.records:
            self.first_ns = self.latest_ns = self.last_ns = int(batch.time_ns[0])
        nominal, data = wire_bit_parts(batch)
        sums = batch_sums(batch, nominal, data, self.last_ns)
        self.nominal_bits += sums.nominal
        self.data_rate_bits += sums.data
        self.pieces.update(batch.time_ns, nominal, data, in_order=sums.in_order)
        self.load_windows.update(batch.time_ns, nominal, data)
        ahead, segment = self._take_intervals(batch.time_ns, sums)
        self.frames += len(batch) - sums.errors
        self.error_frames += sums.errors
        bits = sums.bits
        if sums.errors:
            is_error = (batch.flags & np.uint16(FrameFlag.ERROR)) != 0
            at, kept = np.flatnonzero(is_error), np.flatnonzero(~is_error)
            self.errors.update(batch.time_ns[at], batch.can_id[at], batch.data[at])
            batch, ahead, segment, bits = batch.rows(kept), ahead[kept], segment[kept], bits[kept]
        if len(batch):
            self._sources.update(batch, ahead, segment, bits)
            self.signals.update(batch)

    def _take_intervals(self, time_ns: Int64s, sums: BatchSums) -> tuple[Int64s, Int64s]:
        """(how far the recorded clock is ahead of each stamp, clock steps before it); notes the bus's own intervals."""
        is_first = not self.records
        if sums.in_order:
            ahead = np.broadcast_to(np.int64(self._ahead_ns), len(time_ns))
            segment = np.broadcast_to(np.int64(len(self.clock_steps)), len(time_ns))
            at, longest, last_ns = sums.long_rows, sums.longest_short_ns, np.int64(self.last_ns)
            before = np.where(at > 0, time_ns[at - 1], last_ns)
            short = len(time_ns) - len(at) - is_first
            self._quiet.update(short, longest, time_ns[at] - before, before, self._ahead_ns)
        else:
            before = np.concatenate((np.array([self.last_ns], np.int64), time_ns[:-1]))
            between = time_ns - before
            is_step = (between < 0) | (between > STEP_FORWARD_NS)
            ahead = self.recorded_ns + np.cumsum(np.where(is_step, 0, between)) - time_ns
            segment = len(self.clock_steps) + np.cumsum(is_step, dtype=np.int64)
            self.clock_steps += [ClockStep(int(before[k]), int(between[k])) for k in np.flatnonzero(is_step)]
            sound = ~is_step
            sound[: int(is_first)] = False
            self._quiet.update(*told_apart(between[sound], before[sound], ahead[sound]))
        self.recorded_ns = int(time_ns[-1] + ahead[-1])
        self.last_ns = int(time_ns[-1])
        self.latest_ns = max(self.latest_ns, sums.latest_ns)
        return ahead, segment


def _is_step(interval: int) -> bool:
    return interval < 0 or interval > STEP_FORWARD_NS
