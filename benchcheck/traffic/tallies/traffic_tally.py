"""The tally of all buses of a recording, live or read back: batches in any cut, parts merged, the same digits."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.tallies.bus_tally import BusTally
from benchcheck.traffic.tallies.pieces import WINDOW_NS
from benchcheck.traffic.tallies.watch import Watch
from benchcheck.words.frames import FrameBatch, joined

_SMALL = 4096  # batches of fewer frames wait for more, until somebody looks


class TrafficTally:
    """Buses by their index in the batches, in order of first appearance.

    origin_ns  first stamp of the whole recording, where windows start. Left out, it is the first stamp that comes in;
               a part that is to be merged behind an earlier one must be given the earlier one's; it keeps 12 bytes
               a frame more than one that began the recording (see pieces).
    watch      what to keep for judging presence, by bus index (see presence.watch_of)
    window_ns  width of windows kept beside those of one second (see windows)
    """

    def __init__(
        self,
        origin_ns: int | None = None,
        watch: Mapping[int, Watch] | None = None,
        *,
        window_ns: int = WINDOW_NS,
    ) -> None:
        self.origin_ns = origin_ns
        self.window_ns = window_ns
        self._is_part = origin_ns is not None
        self.watch = dict(watch or {})
        self._buses: dict[int, BusTally] = {}
        self._waiting: list[FrameBatch] = []
        self._rows_waiting = 0
        self.first_ns: int | None = None
        self.last_ns: int | None = None

    @property
    def buses(self) -> dict[int, BusTally]:
        """The tallies of the buses, in order of first appearance."""
        self._settle()
        return self._buses

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
        if len(batch) >= _SMALL:
            self._settle()
            self._take(batch, self.origin_ns)
            return
        # what comes in live comes in crumbs: gathered, they cost a hundredth
        self._waiting.append(batch.copied())
        self._rows_waiting += len(batch)
        if self._rows_waiting >= _SMALL:
            self._settle()

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
        self._settle()
        if self.first_ns is None:
            self.first_ns = later.first_ns
        self.last_ns = later.last_ns
        for number, bus in later.buses.items():
            mine = self._buses.get(number) or self._begin(number, bus.origin_ns)
            mine.merge(bus)

    def _settle(self) -> None:
        """Take in the small batches that wait."""
        waiting, self._waiting, self._rows_waiting = self._waiting, [], 0
        if waiting and self.origin_ns is not None:
            self._take(joined(waiting), self.origin_ns)

    def _take(self, batch: FrameBatch, origin_ns: int) -> None:
        for number in _in_order(batch.bus):
            bus = self._buses.get(number) or self._begin(number, origin_ns)
            rows = np.flatnonzero(batch.bus == number)
            bus.update(batch if len(rows) == len(batch) else batch.rows(rows))

    def _begin(self, number: int, origin_ns: int) -> BusTally:
        bus = BusTally(origin_ns, self.watch.get(number), is_part=self._is_part, window_ns=self.window_ns)
        self._buses[number] = bus
        return bus


def _in_order(bus: NDArray[np.uint16]) -> list[int]:
    """The buses in order of first appearance."""
    if (bus == bus[0]).all():
        return [int(bus[0])]
    numbers, first_rows = np.unique(bus, return_index=True)
    return [int(number) for number in numbers[np.argsort(first_rows)]]
