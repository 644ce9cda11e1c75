"""When nobody could be heard: silences of the whole bus, and gaps of the recorder, on the recorded clock of a bus."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from itertools import accumulate

from benchcheck.traffic.tallies.bus_tally import BusTally
from benchcheck.traffic.tallies.longest_gaps import Gap
from benchcheck.traffic.tallies.pieces import SECOND_NS
from benchcheck.words.recorder_gap import RecorderGap

Span = tuple[int, int]
"""First and last nanosecond."""


class Spans:
    """Times, those that touch being one; asked how much of another time they take up, however many they are."""

    def __init__(self, spans: Sequence[Span]) -> None:
        self.spans = _joined(spans)
        self._starts = [start for start, _ in self.spans]
        self._ends = [end for _, end in self.spans]
        self._before = list(accumulate((end - start for start, end in self.spans), initial=0))

    @property
    def total_ns(self) -> int:
        return self._before[-1]

    def within(self, start_ns: int, end_ns: int) -> int:
        """How much of the time from `start_ns` to `end_ns` they take up; nothing where it ends before it begins."""
        first, behind = bisect_right(self._ends, start_ns), bisect_left(self._starts, end_ns)
        if first >= behind or end_ns <= start_ns:
            return 0
        cut = max(0, start_ns - self._starts[first]) + max(0, self._ends[behind - 1] - end_ns)
        return self._before[behind] - self._before[first] - cut


class QuietTimes(Spans):
    """`recorder_gaps`: when the recorder is known not to have recorded everything; `silences`: those that count."""

    def __init__(
        self, tally: BusTally, recorder_gaps: Sequence[RecorderGap] = (), *, silences: Sequence[Gap] | None = None
    ) -> None:
        quiet = tally.silences() if silences is None else silences
        spans = [(gap.recorded_ns, gap.recorded_ns + gap.length_ns) for gap in quiet]
        for start_ns, end_ns in recorded_not(recorder_gaps).spans:
            spans += _on_recorded_clock(tally, start_ns, end_ns)
        super().__init__(spans)

    def overlap(self, recorded_ns: int, length_ns: int) -> int:
        """How much of a span of the recorded clock is quiet."""
        return self.within(recorded_ns, recorded_ns + length_ns)


def recorded_not(gaps: Sequence[RecorderGap]) -> Spans:
    """The stamps that these gaps take up."""
    return Spans([(gap.start_ns, gap.end_ns) for gap in gaps if gap.start_ns < gap.end_ns])


def gap_words(gaps: Sequence[RecorderGap], start_ns: int, end_ns: int) -> str:
    """What is to be said of the gaps of the recorder from `start_ns` to `end_ns`."""
    within = [gap for gap in gaps if gap.start_ns < end_ns and gap.end_ns > start_ns]
    length = recorded_not(within).within(start_ns, end_ns) / SECOND_NS
    whys = list(dict.fromkeys(gap.why for gap in within if gap.why))
    told = f" ({'; '.join(whys[:2])}{'; ...' if len(whys) > 2 else ''})" if whys else ""
    return f"for {length:.2f} s of that time the recorder did not record everything{told}"


def recorded_at(tally: BusTally, stamp_ns: int) -> int | None:
    """Where a stamp lies on the recorded clock: in the first stretch between clock steps that holds it, or before the
    first frame (below 0 then); None where it lies in none."""
    for number, (first_ns, last_ns, ahead_ns) in enumerate(_stretches(tally)):
        if (not number or first_ns <= stamp_ns) and stamp_ns <= last_ns:
            return stamp_ns + ahead_ns
    return None


def _on_recorded_clock(tally: BusTally, start_ns: int, end_ns: int) -> list[Span]:
    """A span of stamps, in every stretch between clock steps in which it lies."""
    found = []
    for first_ns, last_ns, ahead_ns in _stretches(tally):
        low, high = max(first_ns, start_ns), min(last_ns, end_ns)
        if low < high:
            found.append((low + ahead_ns, high + ahead_ns))
    return found


def _stretches(tally: BusTally) -> Iterator[tuple[int, int, int]]:
    """First and last stamp of each stretch between clock steps, and how far the recorded clock is ahead in it."""
    first_ns, ahead_ns = tally.first_ns, -tally.first_ns
    lasts = [step.at_ns for step in tally.clock_steps] + [tally.last_ns]
    steps = [step.step_ns for step in tally.clock_steps] + [0]
    for last_ns, step_ns in zip(lasts, steps, strict=True):
        yield first_ns, last_ns, ahead_ns
        first_ns, ahead_ns = last_ns + step_ns, ahead_ns - step_ns


def _joined(spans: Sequence[Span]) -> list[Span]:
    joined: list[Span] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined
