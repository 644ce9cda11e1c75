"""The silences of a serial line, from the stamps of the reads that brought its bytes; integers, so that parts merge.

Whoever talks on a line pauses between bursts, so a pause is no silence where it is the line's own rhythm. A silence is a
time without a byte of at least 1 s and at least three times the usual pause: the median of the pauses of 0.1 s or more,
told to the millisecond, where there are at least five of them, and they are at least one in fifty of the times between
reads; a line that hardly ever pauses has no usual pause. What lies between two stamps the later of which is no later, or by more than an hour, is a
step of the recorder's clock and no pause. (Common practice, no source.)
"""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

from benchcheck.traffic.tallies.pieces import SECOND_NS, STEP_FORWARD_NS

LEAST_NS = SECOND_NS
PAUSE_NS = SECOND_NS // 10
USUAL_PAUSES = 3
USUAL_SHARE = 50
USUAL_LEAST = 5
LINE_SILENCE_RULE = (
    "no byte on the line for at least 1 s and at least three times the median of its pauses of 0.1 s or more, where these "
    "are at least five, and one in fifty of the times between reads; the 10,000 longest are kept"
)
_MS_NS = 1_000_000
_MOST = 10_000


class LineGap(NamedTuple):
    """The stamp of the last read before a silence, and its length."""

    start_ns: int
    length_ns: int


class LineSilences:
    """Fed the time from each stamp to the next one."""

    def __init__(self) -> None:
        self._short = 0
        self._pauses: Counter[int] = Counter()  # by length in milliseconds
        self._quiet: list[LineGap] = []

    def between(self, before_ns: int, time_ns: int) -> None:
        length = time_ns - before_ns
        if not 0 < length <= STEP_FORWARD_NS:
            return
        if length < PAUSE_NS:
            self._short += 1
            return
        self._pauses[length // _MS_NS] += 1
        if length >= LEAST_NS:
            self._quiet.append(LineGap(before_ns, length))
            if len(self._quiet) > 2 * _MOST:
                self._quiet = _longest(self._quiet)

    def merge(self, later: LineSilences) -> None:
        """Take in those of the part that follows; what lies between the two parts is told with `between`."""
        self._short += later._short
        self._pauses.update(later._pauses)
        self._quiet = _longest([*self._quiet, *later._quiet])

    def threshold_ns(self) -> int:
        """The least length of a silence of this line, by the rule above."""
        pauses = sum(self._pauses.values())
        if pauses < USUAL_LEAST or USUAL_SHARE * pauses < pauses + self._short:
            return LEAST_NS
        left = (pauses + 1) // 2
        for length_ms in sorted(self._pauses):
            left -= self._pauses[length_ms]
            if left <= 0:
                return max(LEAST_NS, USUAL_PAUSES * length_ms * _MS_NS)
        raise AssertionError("unreachable: half of the pauses are some of them")

    def silences(self) -> list[LineGap]:
        """By time."""
        least = self.threshold_ns()
        return sorted(gap for gap in _longest(self._quiet) if gap.length_ns >= least)


def _longest(gaps: list[LineGap]) -> list[LineGap]:
    if len(gaps) <= _MOST:
        return gaps
    return sorted(gaps, key=lambda gap: (-gap.length_ns, gap.start_ns))[:_MOST]
