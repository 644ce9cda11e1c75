"""Reads what has arrived at an open serial port, in one call, and notices when the port is gone."""

from __future__ import annotations

import os
import select
from typing import Any

_AT_MOST = 65_536
_EMPTY_READS_OF_A_LOST_PORT = 3  # in a row


class PortReader:
    """`handle`: an open pyserial port."""

    def __init__(self, handle: Any) -> None:
        self._handle = handle
        self._empty = 0

    def read(self, wait_s: float = 0.0) -> bytes:
        """Wait for something for so long, then take all that is there; empty where nothing came.

        A port that says that there is something, and has nothing, is gone when it does so again and again; one that was
        flushed in between (a change of speed does that) does it once. OSError, or what a port raises that is being closed
        (TypeError, ValueError, AttributeError), when it is gone.
        """
        data = self._taken(wait_s)
        self._empty = self._empty + 1 if data == b"" else 0
        if self._empty >= _EMPTY_READS_OF_A_LOST_PORT:
            raise OSError("the other end has closed")
        return data or b""

    def _taken(self, wait_s: float) -> bytes | None:
        """None where nothing was said to be there."""
        if os.name != "posix":
            self._handle.timeout = wait_s
            waiting = self._handle.in_waiting
            return bytes(self._handle.read(max(1, waiting) if wait_s else waiting)) or None
        number = self._handle.fileno()
        if wait_s and not select.select([number], [], [], wait_s)[0]:
            return None
        try:
            return os.read(number, _AT_MOST)
        except BlockingIOError:
            return None
