"""Time for the I/O rooms: one small clock, and one for tests that only moves when told."""

from __future__ import annotations

import time
import uuid
from datetime import UTC, datetime
from pathlib import Path

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


class Clock:
    """Wall time, monotonic time, and stamps that a step of the wall clock can't touch.

    Stamps are nanoseconds that look like Unix time: the wall time when the clock was made, plus what the
    monotonic clock has counted since. All readers of one bench share one clock, so their stamps compare.
    """

    def __init__(self) -> None:
        self.boot_id = _read_boot_id()
        self._offset_ns = self.wall_ns() - self.monotonic_ns()

    def wall_ns(self) -> int:
        """Unix time in nanoseconds, as the machine believes it is now."""
        return time.time_ns()

    def monotonic_ns(self) -> int:
        """Nanoseconds that only ever grow; comparable within one `boot_id`."""
        return time.monotonic_ns()

    def stamp_ns(self) -> int:
        """A stamp for something that arrived now."""
        return self.monotonic_ns() + self._offset_ns

    def utc(self) -> str:
        """Wall time in RFC 3339 with microseconds: `2031-05-04T09:12:44.031877Z`."""
        seconds, rest_ns = divmod(self.wall_ns(), 1_000_000_000)
        return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{rest_ns // 1000:06d}Z"

    def sleep(self, seconds: float) -> None:
        """Let time pass."""
        time.sleep(seconds)


class FakeClock(Clock):
    """A clock that stands until it is moved. `step_wall` is what a time server or a user does to the wall clock."""

    def __init__(self, wall_ns: int = 1_900_000_000_000_000_000, boot_id: str = "fake-boot") -> None:
        self._wall_ns = wall_ns
        self._mono_ns = 1_000_000_000
        super().__init__()
        self.boot_id = boot_id

    def wall_ns(self) -> int:
        return self._wall_ns

    def monotonic_ns(self) -> int:
        return self._mono_ns

    def sleep(self, seconds: float) -> None:
        self.advance(seconds)

    def advance(self, seconds: float) -> None:
        passed_ns = round(seconds * 1e9)
        self._wall_ns += passed_ns
        self._mono_ns += passed_ns

    def step_wall(self, seconds: float) -> None:
        self._wall_ns += round(seconds * 1e9)


def _read_boot_id() -> str:
    """The system's own boot id; where there is none, one that is good for this process only."""
    try:
        return _BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return f"process-{uuid.uuid4()}"
