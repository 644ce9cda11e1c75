"""The capture that a live stage leaves behind: every bus and every tapped line on one clock."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.harness.model import Harness
from benchcheck.words.frames import FrameBatch


class CaptureFile:
    """Writes what is heard; interfaces are added as buses and lines first speak."""

    def __init__(self, path: Path, harness: Harness) -> None:
        self.path = path
        self._writer = CaptureWriter(path, hardware=harness.title)
        self._buses = {bus.name: self._writer.add_bus(bus.name, bus.bitrate) for bus in harness.buses}
        self._links = {link.name: link for link in harness.links}
        self._lines: dict[str, int] = {}

    def frames(self, bus: str, batch: FrameBatch) -> None:
        self._writer.write_frames(self._buses[bus], batch)

    def listening(self, name: str) -> None:
        if name not in self._lines:
            link = self._links.get(name.partition(":")[0])
            self._lines[name] = self._writer.add_line(
                name, link.protocol if link else "", baud=link.baud if link else None
            )

    def line(self, name: str, time_ns: int, data: bytes) -> None:
        self.listening(name)
        self._writer.write_bytes(self._lines[name], time_ns, data)

    def mark(self, kind: str, time_ns: int, body: Mapping[str, object]) -> None:
        self._writer.mark(time_ns, kind, body)

    def dropped(self, bus: str, frames: int) -> None:
        self._writer.dropped(self._buses[bus], frames)

    def keep_up(self, now_ns: int) -> None:
        self._writer.keep_up(now_ns)

    def close(self) -> dict[str, object]:
        """Finish the file; gives its name, size and SHA-256 for the record."""
        self._writer.close()
        data = self.path.read_bytes()
        return {"file": self.path.name, "sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
