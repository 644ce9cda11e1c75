"""Listening to one serial line: a thread that reads what is there, stamps it and enqueues it.

Nothing is ever sent, and nothing is interpreted here: bytes go out as they came, with the time at which
they were read.
"""

from __future__ import annotations

import os
import select
import threading
from collections import deque
from enum import StrEnum
from typing import Any

from benchcheck.bench.clock import Clock
from benchcheck.bench.port import close_port, open_port, printable, set_speed, split_framing
from benchcheck.words.errors import SetupError

_SLICE_S = 0.05
_READ_AT_MOST = 4096  # about what a pseudo-terminal holds
_QUEUE_CHUNKS = 50_000
_EMPTY_READS_OF_A_LOST_PORT = 3  # in a row


class LineState(StrEnum):
    CLOSED = "closed"
    LISTENING = "listening"
    LINK_LOST = "link lost"


class LineListener:
    """A serial port that is only listened to. Open, drain, close; the owner closes.

    port is a device or a URL as pyserial takes it. `dropped_bytes` counts what nobody drained in time.
    """

    def __init__(
        self,
        port: str,
        baud: int = 4800,
        framing: str = "8N1",
        *,
        clock: Clock | None = None,
        queue_chunks: int = _QUEUE_CHUNKS,
    ) -> None:
        split_framing(framing)
        self.port = port
        self.baud = baud
        self.framing = framing
        self.why = ""  # what ended the link, in words
        self.dropped_bytes = 0
        self.heartbeat_ns = 0  # when the reader last went round; a silent line does not stop it
        self._clock = clock or Clock()
        self._queue: deque[tuple[int, bytes]] = deque()
        self._queue_chunks = queue_chunks
        self._stop = threading.Event()
        self._lost = False
        self._thread: threading.Thread | None = None
        self._handle: Any = None

    @property
    def state(self) -> LineState:
        if self._lost:
            return LineState.LINK_LOST
        return LineState.CLOSED if self._thread is None else LineState.LISTENING

    @property
    def identity(self) -> str:
        return f"{self.port}, {self.baud} baud {self.framing} as set"

    def open(self) -> None:
        """Open the port exclusively, DTR and RTS low, and start listening. SetupError in words."""
        if self._handle is not None:
            return
        self._handle = open_port(self.port, baud=self.baud, framing=self.framing, timeout_s=_SLICE_S)
        self._lost, self.why = False, ""
        self._stop.clear()
        self._thread = threading.Thread(target=self._read, name=f"line-{self.port}", daemon=True)
        self._thread.start()

    def set_speed(self, baud: int, framing: str = "8N1") -> None:
        """Another speed and framing, at once; what was heard before is dropped. SetupError when the port refuses."""
        split_framing(framing)
        if self._handle is not None:
            try:
                set_speed(self._handle, baud, framing)
            except SetupError:
                set_speed(self._handle, self.baud, self.framing)
                raise
            self._queue.clear()
        self.baud, self.framing = baud, framing

    def drain(self) -> list[tuple[int, bytes]]:
        """What arrived since the last call: (stamp in ns, bytes) in order."""
        return [self._queue.popleft() for _ in range(len(self._queue))]

    def close(self) -> None:
        """Stop listening and close the port, after a lost link too. May be called twice."""
        thread, self._thread = self._thread, None
        self._stop.set()
        handle, self._handle = self._handle, None
        if thread is not None:
            thread.join()
        if handle is not None:
            close_port(handle)

    def _read(self) -> None:
        handle = self._handle
        empty = 0
        while not self._stop.is_set():
            self.heartbeat_ns = self._clock.stamp_ns()
            try:
                chunk = _read_what_is_there(handle)
                empty = empty + 1 if chunk == b"" else 0
                if empty >= _EMPTY_READS_OF_A_LOST_PORT:
                    raise OSError("the other end has closed")
            except (OSError, TypeError, ValueError) as error:
                self.why = printable(" ".join(str(error).split()))[:200] or type(error).__name__
                self._lost = True
                return
            if not chunk:
                continue
            if len(self._queue) >= self._queue_chunks:
                self.dropped_bytes += len(chunk)
            else:
                self._queue.append((self._clock.stamp_ns(), chunk))


def _read_what_is_there(handle: Any) -> bytes | None:
    """Wait one slice, then take all that has arrived in one call; None where nothing did.

    Empty bytes: the port said that there was something, and there was not. A port that is gone says so for ever;
    one that was flushed in between (a change of speed does that) only once. OSError when the port is gone.
    """
    if os.name != "posix":
        return bytes(handle.read(max(1, handle.in_waiting))) or None
    fd = handle.fileno()
    if not select.select([fd], [], [], _SLICE_S)[0]:
        return None
    try:
        return os.read(fd, _READ_AT_MOST)
    except BlockingIOError:
        return None
