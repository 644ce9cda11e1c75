"""Finds a port again that was pulled out: by a name that stays with the device, never by a number that another one may have got.

A URL, and a link such as those in /dev/serial/by-id, is such a name. A bare device is known by the serial number, maker, product and
place that the system has of it; where it has none, the device can't be told from whatever gets its number next.
"""

from __future__ import annotations

from pathlib import Path

from benchcheck.bench.port import is_url
from benchcheck.words.errors import SetupError


class PortFinder:
    """Made with the name that the bench's description has."""

    def __init__(self, port: str) -> None:
        self._port = port
        self._is_met = False
        self._identity: str | None = None

    def where(self) -> str:
        """What to open now. SetupError where the port that was met can't be found again for certain."""
        if not self._is_met or is_url(self._port) or Path(self._port).is_symlink():
            return self._port
        if self._identity is not None:
            for name, identity in _identities().items():
                if identity == self._identity:
                    return name
            raise SetupError("is not there", where=f"port {self._port}")
        raise SetupError(
            "was pulled out, and has no name that stays with it",
            where=f"port {self._port}",
            hint="Name it by its link in /dev/serial/by-id, and it is found again.",
        )

    def met(self) -> None:
        """It was opened: what it is known by is noted, the first time."""
        if self._is_met:
            return
        self._is_met = True
        if not is_url(self._port) and not Path(self._port).is_symlink():
            self._identity = _identities().get(self._port)


def _identities() -> dict[str, str]:
    """By device, what it is known by; only of devices with a serial number or a place."""
    from serial.tools import list_ports

    return {
        entry.device: f"{entry.vid}:{entry.pid}:{entry.serial_number or ''}:{entry.location or ''}"
        for entry in list_ports.comports()
        if entry.vid is not None and (entry.serial_number or entry.location)
    }
