"""When nobody could be heard: silences of the whole bus, and gaps of the recorder, on the recorded clock of a bus."""

from __future__ import annotations

from collections.abc import Sequence

from benchcheck.traffic.bus_tally import BusTally

Span = tuple[int, int]
"""First and last nanosecond."""


class QuietTimes:
    """`recorder_gaps`: spans of stamps in which the recorder is known not to have recorded."""

    def __init__(self, tally: BusTally, recorder_gaps: Sequence[Span] = ()) -> None:
        spans = [(gap.recorded_ns, gap.recorded_ns + gap.length_ns) for gap in tally.silences()]
        for start_ns, end_ns in recorder_gaps:
            spans += _on_recorded_clock(tally, start_ns, end_ns)
        self.spans = _joined(spans)
        self.total_ns = sum(end - start for start, end in self.spans)

    def overlap(self, recorded_ns: int, length_ns: int) -> int:
        """How much of a span of the recorded clock is quiet."""
        end = recorded_ns + length_ns
        return sum(max(0, min(end, last) - max(recorded_ns, first)) for first, last in self.spans)


def _on_recorded_clock(tally: BusTally, start_ns: int, end_ns: int) -> list[Span]:
    """A span of stamps, in every stretch between clock steps in which it lies."""
    found = []
    first_ns, ahead_ns = tally.first_ns, -tally.first_ns
    lasts = [step.at_ns for step in tally.clock_steps] + [tally.last_ns]
    steps = [step.step_ns for step in tally.clock_steps] + [0]
    for last_ns, step_ns in zip(lasts, steps, strict=True):
        low, high = max(first_ns, start_ns), min(last_ns, end_ns)
        if low < high:
            found.append((low + ahead_ns, high + ahead_ns))
        first_ns, ahead_ns = last_ns + step_ns, ahead_ns - step_ns
    return found


def _joined(spans: Sequence[Span]) -> list[Span]:
    joined: list[Span] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined
