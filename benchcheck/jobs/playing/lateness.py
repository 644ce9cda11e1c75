"""How late frames were given out, counted in microseconds so that it takes no more room the longer it goes on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable


class Lateness:
    """Counts of lateness; what was in time is 0 late."""

    def __init__(self) -> None:
        self._counts: Counter[int] = Counter()
        self.frames = 0

    def add(self, late_ns: int, frames: int = 1) -> None:
        self._counts[max(late_ns, 0) // 1000] += frames
        self.frames += frames

    def add_all(self, late_ns: Iterable[int]) -> None:
        for late in late_ns:
            self._counts[max(late, 0) // 1000] += 1
            self.frames += 1

    def at_ms(self, percent: float) -> float | None:
        """The lateness in milliseconds that `percent` of the frames do not exceed (nearest rank); None of no frame."""
        wanted, seen = percent / 100 * self.frames, 0
        for micros in sorted(self._counts):
            seen += self._counts[micros]
            if seen >= wanted:
                return micros / 1000
        return None

    def to_json(self) -> dict[str, float | None]:
        return {"median_ms": self.at_ms(50), "p99_ms": self.at_ms(99), "max_ms": self.at_ms(100)}
