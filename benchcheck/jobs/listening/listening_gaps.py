"""When one bus was not listened to during a live listening: its adapter could not be read, or frames were dropped."""

from __future__ import annotations

from collections.abc import Sequence

from benchcheck.bench.link import Outage
from benchcheck.words.recorder_gap import RecorderGap

_READABLE = "listening"
_NOT_READ = "the adapter could not be read"
_CALM_NS, _LONG_NS = 1_000_000_000, 10_000_000_000
_ASKED_NS = 2_000_000_000  # an adapter is asked for its status every second


class ListeningGaps:
    """Told of each look at an adapter, in order; all times are stamps of the recorder.

    start_ns  since when it listens; `dropped` is what the adapter had counted by then
    """

    def __init__(self, bus: str, start_ns: int, dropped: int = 0) -> None:
        self.bus = bus
        self.gaps: list[RecorderGap] = []
        self.dropped = 0  # since then
        self._counted = dropped
        self._start_ns = start_ns
        self._ended = 0  # outages that are over and known
        self._read_ns = start_ns  # the last time when all was well
        self._state = _READABLE
        self._dropping: RecorderGap | None = None  # not told of yet
        self._told_ns: int | None = None  # when an adapter last told of frames that it had lost itself

    def drained(
        self,
        now_ns: int,
        state: str,
        dropped: int,
        last_ns: int | None,
        outages: Sequence[Outage] = (),
        since_ns: int | None = None,
    ) -> list[RecorderGap]:
        """The adapter was emptied: its state, its count of dropped frames, the stamp of the last frame that came, or None;
        its outages since it was opened, one of which may have come and gone between two looks; and since when it may have
        lost frames inside, where it tells of that now and then.

        Gives the gaps that are over; drops are, once there were none for a second, and are told every 10 s where there
        always are.
        """
        found = []
        more, self._counted = max(0, dropped - self._counted), dropped
        if more:
            # what was kept came before what was dropped: nobody had emptied the adapter's queue in time
            start_ns = max(self._read_ns, last_ns) if last_ns is not None else self._read_ns
            if since_ns is not None:
                start_ns, self._told_ns = min(start_ns, max(since_ns, self._start_ns)), now_ns
            self._drop(min(start_ns, now_ns), now_ns, more)
        held = self._dropping
        if held is not None and (now_ns - held.end_ns >= _CALM_NS or held.end_ns - held.start_ns >= _LONG_NS):
            found += self._drops_told()
        if state == _READABLE:
            found += self._out_until(now_ns) or self._unseen(outages)
            self._ended = sum(outage.end_ns is not None for outage in outages)
            self._read_ns = now_ns
        self._state = state
        self.gaps += found
        return found

    def so_far(self, now_ns: int) -> list[RecorderGap]:
        """All gaps up to now, those included that are not told of yet."""
        held = [self._dropping] if self._dropping is not None else []
        return self.gaps + [gap._replace(why=_why_dropped(gap)) for gap in held] + self._out_until(now_ns)

    def judged(self, now_ns: int) -> list[RecorderGap]:
        """What is not over is a gap up to now, and goes on from here."""
        found = self._drops_told() + self._out_until(now_ns)
        if self._told_ns is not None and self._told_ns < now_ns <= self._told_ns + _ASKED_NS:
            # it was losing frames when it was last asked, and has not been asked since
            found.append(RecorderGap(self._told_ns, now_ns, "the adapter lost frames right before", self.bus))
        self._read_ns = now_ns
        self.gaps += found
        return found

    def _drop(self, start_ns: int, end_ns: int, count: int) -> None:
        """Drops that follow one another soon are one gap, or a slow machine would tell of fifty in a second."""
        self.dropped += count
        held = self._dropping
        if held is not None:
            start_ns, count = held.start_ns, held.dropped + count
        self._dropping = RecorderGap(start_ns, end_ns, "", self.bus, dropped=count)

    def _drops_told(self) -> list[RecorderGap]:
        held, self._dropping = self._dropping, None
        if held is None:
            return []
        return [held._replace(why=_why_dropped(held))]

    def _unseen(self, outages: Sequence[Outage]) -> list[RecorderGap]:
        return [
            RecorderGap(max(outage.start_ns, self._start_ns), outage.end_ns, f"{_NOT_READ} ({outage.why})", self.bus)
            for outage in outages[self._ended :]
            if outage.end_ns is not None and outage.end_ns > self._start_ns
        ]

    def _out_until(self, now_ns: int) -> list[RecorderGap]:
        if self._state == _READABLE or self._read_ns >= now_ns:
            return []
        return [RecorderGap(self._read_ns, now_ns, f"{_NOT_READ} ({self._state})", self.bus)]


def _why_dropped(gap: RecorderGap) -> str:
    were = "1 frame was" if gap.dropped == 1 else f"{gap.dropped:,} frames were"
    return f"{were} dropped, damaged, or lost in the adapter"
