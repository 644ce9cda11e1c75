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
        self._received = dict.fromkeys(self._buses, 0)
        self._last_ns = 0

    def frames(self, bus: str, batch: FrameBatch) -> None:
        self._writer.write_frames(self._buses[bus], batch)
        self._received[bus] += len(batch)
        self._last_ns = int(batch.time_ns[-1])
        self._writer.flush()

    def listening(self, name: str) -> None:
        if name not in self._lines:
            link = self._links.get(name.partition(":")[0])
            self._lines[name] = self._writer.add_line(
                name, link.protocol if link else "", baud=link.baud if link else None
            )

    def line(self, name: str, time_ns: int, data: bytes) -> None:
        self.listening(name)
        self._writer.write_bytes(self._lines[name], time_ns, data)
        self._last_ns = time_ns

    def mark(self, kind: str, time_ns: int, body: Mapping[str, object]) -> None:
        self._writer.mark(time_ns, kind, body)

    def dropped(self, bus: str, frames: int) -> None:
        self._writer.statistics(self._buses[bus], self._last_ns, received=self._received[bus], dropped=frames)

    def close(self) -> dict[str, object]:
        """Finish the file; gives its name, size and SHA-256 for the record."""
        for bus, interface in self._buses.items():
            self._writer.statistics(interface, self._last_ns, received=self._received[bus], dropped=0)
        self._writer.close()
        data = self.path.read_bytes()
        return {"file": self.path.name, "sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
