"""What one sender of frames did: counts, stamps and gaps of one identifier, or of all identifiers of one unit."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.traffic.tallies.interval_stats import IntervalStats
from benchcheck.traffic.tallies.longest_gaps import Gap


@dataclass(frozen=True, slots=True)
class SourceTally:
    """gaps holds the gaps longer than the threshold under which this source is watched; empty if it is not. Of very many
    only the longest are there; gap_count and gap_total_ns are of all.

    first_recorded_ns ...  the same stamps on the recorded clock, which stands still where the recorder's clock stepped
    first_segment ...      how many clock steps came before
    even, alternating      how many times neighbouring intervals were alike, or only every other one (see source_table);
                           0 where no period is watched on the bus
    """

    count: int
    wire_bits: int
    first_ns: int
    last_ns: int
    first_recorded_ns: int
    last_recorded_ns: int
    first_segment: int
    last_segment: int
    max_gap_ns: int | None
    max_gap_at_ns: int | None
    min_gap_ns: int | None
    gaps: list[Gap]
    gap_count: int
    gap_total_ns: int
    intervals: IntervalStats
    even: int = 0
    alternating: int = 0

    def mean_period_ns(self) -> tuple[int, int] | None:
        """(nanoseconds, intervals) whose quotient is the mean period; None without an interval.

        How long an interval was in which the recorder's clock stepped is not known: it counts on neither side.
        """
        if not self.intervals.count:
            return None
        return self.intervals.total_ns, self.intervals.count
