"""One bus of a live listening: its adapter is emptied into tally and capture, and what was not heard is noted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from benchcheck.bench.can.can_adapter import CanAdapter
from benchcheck.bench.clock import Clock
from benchcheck.jobs.listening.capture_sink import CaptureSink
from benchcheck.jobs.listening.listening_gaps import ListeningGaps
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.words import recorder_gap
from benchcheck.words.recorder_gap import RecorderGap


class BusEar:
    """Begins with an adapter that is open; what it had heard by then is thrown away.

    number   of the bus in the tally
    dropped  frames by bus, since the capture began: it may hold several listenings
    last_ns  stamp of the last frame, None before the first
    """

    def __init__(
        self,
        name: str,
        number: int,
        adapter: CanAdapter,
        clock: Clock,
        capture: CaptureSink | None,
        dropped: Counter[str],
    ) -> None:
        adapter.drain()
        self.gaps = ListeningGaps(name, clock.stamp_ns(), adapter.counts.lost)
        self.last_ns: int | None = None
        self._name = name
        self._number = number
        self._clock = clock
        self._capture = capture
        self._dropped = dropped

    def pump(self, adapter: CanAdapter, tally: TrafficTally) -> None:
        """Take what has come."""
        batch = adapter.drain()
        last_ns = None
        if len(batch):
            batch.bus.fill(self._number)
            tally.update(batch)
            self.last_ns = last_ns = int(batch.time_ns[-1])
            if self._capture is not None:
                self._capture.frames(self._name, batch)
        now_ns, lost = self._clock.stamp_ns(), adapter.counts.lost
        state, since_ns = str(adapter.state), adapter.lossy_since_ns
        self._note(self.gaps.drained(now_ns, state, lost, last_ns, adapter.outages, since_ns))

    def judged(self, now_ns: int) -> None:
        """What is not heard goes on from here."""
        self._note(self.gaps.judged(now_ns))

    def _note(self, gaps: Sequence[RecorderGap]) -> None:
        """Gaps that have just been noticed go into the capture, and then what was dropped since it began."""
        for gap in gaps:
            self._dropped[gap.bus] += gap.dropped
            if self._capture is None:
                continue
            self._capture.mark(recorder_gap.MARK, gap.end_ns, gap.to_mark())
            if gap.dropped:
                self._capture.dropped(gap.bus, self._dropped[gap.bus])
