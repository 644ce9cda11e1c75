"""A time in which the recorder is known not to have recorded everything: what is not there then may have been said."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

MARK = "gap"  # the kind of the mark in a capture that says it
_EARLIEST_NS, _LATEST_NS = -(1 << 60), 1 << 62
_LONGEST_WORDS = 200


class RecorderGap(NamedTuple):
    """From `start_ns` to `end_ns`, in stamps of the recorder.

    why          in words, which may follow a colon
    bus, line    of which one; both empty: of everything
    dropped      frames (of a line: reads) that are known to be missing; 0 where nobody counted, or nothing was recorded
    """

    start_ns: int
    end_ns: int
    why: str = ""
    bus: str = ""
    line: str = ""
    dropped: int = 0

    def is_of_bus(self, name: str) -> bool:
        return self.bus == name or not (self.bus or self.line)

    def is_of_line(self, name: str) -> bool:
        return self.line == name or not (self.bus or self.line)

    def to_mark(self) -> dict[str, object]:
        """The body of the mark."""
        named = {"bus": self.bus} if self.bus else {"line": self.line} if self.line else {}
        return {"from_ns": self.start_ns, "to_ns": self.end_ns, "why": self.why, "dropped": self.dropped, **named}

    @classmethod
    def from_mark(cls, body: Mapping[str, object]) -> RecorderGap | None:
        """What `to_mark` wrote; None where it does not say from when to when."""
        start, end, dropped = body.get("from_ns"), body.get("to_ns"), body.get("dropped", 0)
        if not (isinstance(start, int) and isinstance(end, int) and _EARLIEST_NS <= start <= end <= _LATEST_NS):
            return None
        if not isinstance(dropped, int) or not 0 <= dropped <= _LATEST_NS:
            return None
        why, bus, line = (
            value[:_LONGEST_WORDS] if isinstance(value := body.get(key), str) else "" for key in ("why", "bus", "line")
        )
        return cls(start, end, why, bus, line, dropped)


def dropped_elsewhere(dropped: int, gaps: Iterable[RecorderGap]) -> int:
    """How many of the frames that were dropped lie in none of these gaps, so that nobody knows when it was."""
    return max(0, dropped - sum(gap.dropped for gap in gaps if gap.start_ns < gap.end_ns))
