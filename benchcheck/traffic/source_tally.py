"""What one sender of frames did: counts, stamps and gaps of one identifier, or of all identifiers of one unit.

Times are kept twice: as stamped, and on the recorded clock, which runs only while the recorder's stamps go forward
sensibly (see bus_tally). `segment` counts the clock steps met before: an interval between two segments is no interval.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Gap(NamedTuple):
    """A gap between two frames: stamp of the frame before it, the same on the recorded clock, and its length."""

    start_ns: int
    recorded_ns: int
    length_ns: int


@dataclass(slots=True)
class SourceTally:
    """gaps holds the gaps longer than the threshold under which this source is watched; empty if it is not."""

    count: int
    wire_bits: int
    first_ns: int
    last_ns: int
    first_recorded_ns: int
    last_recorded_ns: int
    first_segment: int
    last_segment: int
    max_gap_ns: int | None = None
    max_gap_at_ns: int | None = None
    min_gap_ns: int | None = None
    gaps: list[Gap] = field(default_factory=list)

    def absorb(self, later: SourceTally, *, recorded_ns: int, segments: int, watch_ns: int | None) -> None:
        """Take in the tally of the part that follows, which began at `recorded_ns` after `segments` clock steps."""
        if later.first_segment + segments == self.last_segment:
            length = later.first_ns - self.last_ns
            self._interval(length, length, self.last_ns)
            if watch_ns is not None and length > watch_ns:
                self.gaps.append(Gap(self.last_ns, self.last_recorded_ns, length))
        if later.max_gap_ns is not None and later.max_gap_at_ns is not None and later.min_gap_ns is not None:
            self._interval(later.max_gap_ns, later.min_gap_ns, later.max_gap_at_ns)
        self.gaps += [gap._replace(recorded_ns=gap.recorded_ns + recorded_ns) for gap in later.gaps]
        self.count += later.count
        self.wire_bits += later.wire_bits
        self.last_ns = later.last_ns
        self.last_recorded_ns = later.last_recorded_ns + recorded_ns
        self.last_segment = later.last_segment + segments

    def moved(self, *, recorded_ns: int, segments: int) -> None:
        """Shift the whole tally on the recorded clock: it is the first of its source in a part that came later."""
        self.first_recorded_ns += recorded_ns
        self.last_recorded_ns += recorded_ns
        self.first_segment += segments
        self.last_segment += segments
        self.gaps = [gap._replace(recorded_ns=gap.recorded_ns + recorded_ns) for gap in self.gaps]

    def copy(self) -> SourceTally:
        return replace(self, gaps=list(self.gaps))

    def mean_period_ns(self) -> tuple[int, int] | None:
        """(nanoseconds, intervals) whose quotient is the mean period with clock steps taken out; None for one frame."""
        if self.count < 2:
            return None
        return self.last_recorded_ns - self.first_recorded_ns, self.count - 1

    def _interval(self, longest: int, shortest: int, at_ns: int) -> None:
        if self.max_gap_ns is None or longest > self.max_gap_ns:
            self.max_gap_ns, self.max_gap_at_ns = longest, at_ns
        if self.min_gap_ns is None or shortest < self.min_gap_ns:
            self.min_gap_ns = shortest


class SourceColumns(NamedTuple):
    """Frames as tallied here: int64[n] each, in recorder order; `key` says whose frame it is."""

    key: NDArray[np.int64]
    time_ns: NDArray[np.int64]
    recorded_ns: NDArray[np.int64]
    segment: NDArray[np.int64]
    bits: NDArray[np.int64]

    def rows(self, chosen: NDArray[np.bool_]) -> SourceColumns:
        return SourceColumns(*(column[chosen] for column in self))


def tally_sources(columns: SourceColumns, watch_ns: Mapping[int, int]) -> dict[int, SourceTally]:
    """One SourceTally for each key, in order of first appearance; `watch_ns` is the gap to note, by key."""
    order = np.argsort(columns.key, kind="stable")
    in_order = columns.key[order]
    starts = np.flatnonzero(np.concatenate(([True], in_order[1:] != in_order[:-1])))
    found: list[tuple[int, int, SourceTally]] = []
    for start, end in zip(starts, [*starts[1:], len(order)], strict=True):
        rows = order[start:end]
        key = int(in_order[start])
        times, clock, steps = columns.time_ns[rows], columns.recorded_ns[rows], columns.segment[rows]
        tally = SourceTally(
            count=len(rows),
            wire_bits=int(columns.bits[rows].sum()),
            first_ns=int(times[0]),
            last_ns=int(times[-1]),
            first_recorded_ns=int(clock[0]),
            last_recorded_ns=int(clock[-1]),
            first_segment=int(steps[0]),
            last_segment=int(steps[-1]),
        )
        sound = np.flatnonzero(steps[1:] == steps[:-1])
        if len(sound):
            lengths = times[sound + 1] - times[sound]
            longest = int(lengths.argmax())
            tally.max_gap_ns = int(lengths[longest])
            tally.max_gap_at_ns = int(times[sound[longest]])
            tally.min_gap_ns = int(lengths.min())
            if key in watch_ns:
                tally.gaps = [
                    Gap(int(times[sound[k]]), int(clock[sound[k]]), int(lengths[k]))
                    for k in np.flatnonzero(lengths > watch_ns[key])
                ]
        found.append((int(rows[0]), key, tally))
    found.sort(key=lambda entry: entry[0])
    return {key: tally for _, key, tally in found}
