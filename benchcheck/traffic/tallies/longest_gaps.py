"""Gaps, of which only the longest are kept where there are very many: memory stays flat, and what is kept follows from the
gaps alone, in whatever parts they came."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

MOST_GAPS = 10_000


class Gap(NamedTuple):
    """A gap between two frames: stamp of the frame before it, the same on the recorded clock, and its length."""

    start_ns: int
    recorded_ns: int
    length_ns: int


class LongestGaps:
    """count     of all gaps, kept or not; total_ns: their lengths together
    left_out_ns  the longest gap that `kept` leaves out; 0 for none
    """

    def __init__(self) -> None:
        self.count = 0
        self.total_ns = 0
        self._gaps: list[Gap] = []
        self._left_out_ns = 0

    @property
    def left_out_ns(self) -> int:
        behind = sorted(self._gaps, key=_longest_first)[MOST_GAPS : MOST_GAPS + 1]
        return max(self._left_out_ns, *(gap.length_ns for gap in behind), 0)

    def add(self, gaps: Iterable[Gap]) -> None:
        """Take in gaps that come behind all others."""
        before = len(self._gaps)
        self._gaps.extend(gaps)
        self.count += len(self._gaps) - before
        self.total_ns += sum(gap.length_ns for gap in self._gaps[before:])
        self._limit()

    def merge(self, later: LongestGaps, shift_ns: int) -> None:
        """Take in those of the part that follows, which began at `shift_ns` of the recorded clock."""
        self._gaps += [gap._replace(recorded_ns=gap.recorded_ns + shift_ns) for gap in later._gaps]
        self.count += later.count
        self.total_ns += later.total_ns
        self._left_out_ns = max(self._left_out_ns, later._left_out_ns)
        self._limit()

    def kept(self) -> list[Gap]:
        """In recorder order; of more than MOST_GAPS the longest, the first of equal ones."""
        gaps = self._gaps
        if len(gaps) > MOST_GAPS:
            gaps = sorted(gaps, key=_longest_first)[:MOST_GAPS]
        return sorted(gaps, key=lambda gap: gap.recorded_ns)

    def _limit(self) -> None:
        if len(self._gaps) > 2 * MOST_GAPS:
            self._gaps.sort(key=_longest_first)
            self._left_out_ns = max(self._left_out_ns, self._gaps[MOST_GAPS].length_ns)
            del self._gaps[MOST_GAPS:]


def _longest_first(gap: Gap) -> tuple[int, int]:
    return -gap.length_ns, gap.recorded_ns
