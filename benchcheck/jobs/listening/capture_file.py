"""The capture that a live stage leaves behind: every bus and every tapped line on one clock, in parts where it is long."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchcheck.capture.rotating_writer import RotatingWriter
from benchcheck.harness.model import Harness
from benchcheck.words.frames import FrameBatch


@dataclass(frozen=True, slots=True)
class PartLimits:
    """When a capture goes on in another file: megabytes and minutes of one part; None: never for that reason.

    By default a part holds an hour, or some 20 minutes of a full bus of 500 kbit/s: small enough to be copied and sent,
    large enough that an ordinary live stage stays in one.
    """

    megabytes: float | None = 256.0
    minutes: float | None = 60.0

    @property
    def max_bytes(self) -> int | None:
        return None if self.megabytes is None else max(1, round(self.megabytes * 1e6))

    @property
    def max_ns(self) -> int | None:
        return None if self.minutes is None else max(1, round(self.minutes * 60e9))


class CaptureFile:
    """Writes what is heard; interfaces are added as buses and lines first speak.

    The capture is the one file `path` until it goes on in a second one; see RotatingWriter.
    """

    def __init__(
        self,
        path: Path,
        harness: Harness | None,
        limits: PartLimits | None = None,
        *,
        buses: Sequence[tuple[str, int | None, int | None]] | None = None,
        lines: Mapping[str, tuple[str, int]] | None = None,
    ) -> None:
        """`buses` (name, bit rate, data bit rate) and `lines` (protocol and baud by name) where the profile does not say, or
        there is none."""
        self.path = path
        limits = limits or PartLimits()
        self._writer = RotatingWriter(
            path,
            hardware="" if harness is None else harness.title,
            max_bytes=limits.max_bytes,
            max_ns=limits.max_ns,
            first_alone=True,
        )
        if buses is None:
            buses = [(bus.name, bus.bitrate, bus.data_bitrate) for bus in (harness.buses if harness else ())]
        self._buses = {bus[0]: self._writer.add_bus(*bus) for bus in buses}
        links = harness.links if harness is not None else ()
        self._links = {link.name: (link.protocol, link.baud) for link in links} | dict(lines or {})
        self._lines: dict[str, int] = {}

    def frames(self, bus: str, batch: FrameBatch) -> None:
        self._writer.write_frames(self._buses[bus], batch)

    def listening(self, name: str) -> None:
        if name not in self._lines:
            protocol, baud = self._links.get(name) or self._links.get(name.partition(":")[0]) or ("", None)
            self._lines[name] = self._writer.add_line(name, protocol, baud=baud)

    def line(self, name: str, time_ns: int, data: bytes, *, framing_errors: int | None = None) -> None:
        self.listening(name)
        self._writer.write_bytes(self._lines[name], time_ns, data, framing_errors=framing_errors)

    def mark(self, kind: str, time_ns: int, body: Mapping[str, object]) -> None:
        self._writer.mark(time_ns, kind, body)

    def dropped(self, bus: str, frames: int) -> None:
        self._writer.dropped(self._buses[bus], frames)

    def keep_up(self, now_ns: int) -> None:
        self._writer.keep_up(now_ns)

    @property
    def parts(self) -> list[Path]:
        """The files that there are."""
        return list(self._writer.parts)

    def close(self) -> list[dict[str, object]]:
        """Finish it; gives for the record of each part, in order, its name, size and SHA-256, and which part it is."""
        self._writer.close()
        parts = self.parts
        return [
            {
                "file": path.name,
                "sha256": _sha256(path),
                "bytes": path.stat().st_size,
                **({"part": number, "parts": len(parts), "capture": self.path.name} if len(parts) > 1 else {}),
            }
            for number, path in enumerate(parts, 1)
        ]

    def forget(self) -> None:
        """Remove what was written: nothing was heard."""
        for path in self.parts:
            path.unlink(missing_ok=True)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
