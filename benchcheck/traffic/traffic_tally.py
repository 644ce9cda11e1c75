"""The tally of all buses of a recording, live or read back: batches in any cut, parts merged, the same digits."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from benchcheck.traffic.bus_tally import BusTally, Watch
from benchcheck.words.frames import FrameBatch


class TrafficTally:
    """Buses by their index in the batches, in order of first appearance.

    origin_ns  first stamp of the whole recording, where windows start. Left out, it is the first stamp that comes in;
               a part that is to be merged behind an earlier one must be given the earlier one's; it keeps 12 bytes
               a frame more than one that began the recording (see pieces).
    watch      what to keep for judging presence, by bus index (see presence.watch_of)
    """

    def __init__(self, origin_ns: int | None = None, watch: Mapping[int, Watch] | None = None) -> None:
        self.origin_ns = origin_ns
        self._is_part = origin_ns is not None
        self.watch = dict(watch or {})
        self.buses: dict[int, BusTally] = {}
        self.first_ns: int | None = None
        self.last_ns: int | None = None

    @property
    def frames(self) -> int:
        return sum(bus.frames for bus in self.buses.values())

    @property
    def error_frames(self) -> int:
        return sum(bus.error_frames for bus in self.buses.values())

    @property
    def latest_ns(self) -> int | None:
        """The highest stamp met, which is not the last one where the clock was set back."""
        return max((bus.latest_ns for bus in self.buses.values()), default=None)

    def update(self, batch: FrameBatch) -> None:
        """Take in the next frames of the recording, of any buses, in recorder order."""
        if not len(batch):
            return
        if self.first_ns is None:
            self.first_ns = int(batch.time_ns[0])
        if self.origin_ns is None:
            self.origin_ns = self.first_ns
        self.last_ns = int(batch.time_ns[-1])
        numbers, first_rows = np.unique(batch.bus, return_index=True)
        for number in numbers[np.argsort(first_rows)].tolist():
            if number not in self.buses:
                self.buses[number] = BusTally(self.origin_ns, self.watch.get(number), is_part=self._is_part)
            part = batch if len(numbers) == 1 else _rows_of(batch, number)
            self.buses[number].update(part)

    def merge(self, later: TrafficTally) -> None:
        """Take in the tally of the part that follows this one."""
        if later.first_ns is None:
            return
        if self.origin_ns is None:
            self.origin_ns = later.origin_ns
        if later.origin_ns != self.origin_ns or later.watch != self.watch:
            raise ValueError("tallies with different origins or watches can't be merged")
        if not later._is_part:
            raise ValueError("a tally that began a recording can't be merged behind another one")
        if self.first_ns is None:
            self.first_ns = later.first_ns
        self.last_ns = later.last_ns
        for number, bus in later.buses.items():
            if number not in self.buses:
                self.buses[number] = BusTally(bus.origin_ns, bus.watch, is_part=self._is_part)
            self.buses[number].merge(bus)


def _rows_of(batch: FrameBatch, number: int) -> FrameBatch:
    rows = np.flatnonzero(batch.bus == number)
    return FrameBatch(
        batch.time_ns[rows],
        batch.bus[rows],
        batch.can_id[rows],
        batch.flags[rows],
        batch.length[rows],
        batch.data[rows],
    )
