"""Where everything heard is also written."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from benchcheck.words.frames import FrameBatch


class CaptureSink(Protocol):
    """As capture_file.CaptureFile."""

    def frames(self, bus: str, batch: FrameBatch) -> None: ...

    def listening(self, name: str) -> None:
        """A line is listened to from now on, whether or not anything comes."""

    def line(self, name: str, time_ns: int, data: bytes, *, framing_errors: int | None = None) -> None: ...

    def mark(self, kind: str, time_ns: int, body: Mapping[str, object]) -> None: ...

    def dropped(self, bus: str, frames: int) -> None: ...

    def keep_up(self, now_ns: int) -> None:
        """Called often, so that what was written is on the disk soon after."""
