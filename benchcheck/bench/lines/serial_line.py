"""Listening to one serial line: what is there is read, stamped and enqueued.

Nothing is ever sent, and nothing is interpreted here: bytes go out as they came, with the time at which they were read, and with
the framing errors that the system marked among them, where it can.
"""

from __future__ import annotations

import threading
from collections import deque
from typing import Any, NamedTuple

from benchcheck.bench.clock import Clock
from benchcheck.bench.lines.framing_marks import MarkDecoder, ask_for_marks
from benchcheck.bench.lines.line_hub import LineHub
from benchcheck.bench.link import HEARTBEAT_LATE_NS, LinkState, Outage
from benchcheck.bench.port import close_port, open_port, printable, set_speed, split_framing
from benchcheck.bench.port_finder import PortFinder
from benchcheck.bench.port_reader import PortReader
from benchcheck.words.errors import SetupError

_QUEUE_CHUNKS = 50_000


class HeardBytes(NamedTuple):
    """What was read at once: its stamp in ns, the bytes, and how many of them had a framing error; None: can't tell."""

    time_ns: int
    data: bytes
    framing_errors: int | None = None


class LineListener:
    """A serial port that is only listened to. Open, drain, close; the owner closes.

    port is a device or a URL as pyserial takes it. `dropped_bytes` counts what nobody drained in time. Lines of one bench
    share one `hub`, and so one thread.
    """

    def __init__(
        self,
        port: str,
        baud: int = 4800,
        framing: str = "8N1",
        *,
        clock: Clock | None = None,
        hub: LineHub | None = None,
        queue_chunks: int = _QUEUE_CHUNKS,
    ) -> None:
        split_framing(framing)
        self.port = port
        self.baud = baud
        self.framing = framing
        self.dropped_bytes = 0
        self.heartbeat_ns = 0  # when the reader last went round; a silent line does not stop it
        self._clock = clock or Clock()
        self._hub = hub or LineHub()
        self._finder = PortFinder(port)
        self._queue: deque[HeardBytes] = deque()
        self._queue_chunks = queue_chunks
        self._using = threading.RLock()  # held by whoever uses the port
        self._is_open = self._marks = False
        self._decoder = MarkDecoder()
        self._told = 0  # framing errors that were handed on
        self._reader = PortReader(None)
        self._outages: list[Outage] = []
        self._handle: Any = None

    @property
    def state(self) -> LinkState:
        if not self._is_open:
            return LinkState.CLOSED
        if self._handle is None:
            return LinkState.LINK_LOST
        if self._clock.stamp_ns() - self.heartbeat_ns > HEARTBEAT_LATE_NS:
            return LinkState.READER_SILENT
        return LinkState.LISTENING

    @property
    def outages(self) -> tuple[Outage, ...]:
        """When the port was gone, since opening."""
        return tuple(self._outages)

    @property
    def why(self) -> str:
        """What ended the link the last time, in words."""
        return self._outages[-1].why if self._outages else ""

    @property
    def framing_errors_reported(self) -> bool:
        """False: having seen none says nothing. Asked for; a pseudo-terminal says yes and never has one."""
        return self._marks

    @property
    def breaks(self) -> int:
        """Breaks since opening, where the system marks them."""
        return self._decoder.breaks

    @property
    def identity(self) -> str:
        return f"{self.port}, {self.baud} baud {self.framing} as set"

    def open(self) -> None:
        """Open the port exclusively, DTR and RTS low, and start listening. SetupError in words."""
        if self._is_open:
            return
        self._outages = []
        self._open_port()
        self._is_open = True
        self._hub.add(self)

    def set_speed(self, baud: int, framing: str = "8N1") -> None:
        """Another speed and framing, at once; what was heard before is dropped. SetupError when the port refuses."""
        split_framing(framing)
        with self._using:
            if self._handle is not None:
                try:
                    set_speed(self._handle, baud, framing)
                except SetupError:
                    set_speed(self._handle, self.baud, self.framing)
                    self._begin()
                    raise
                self._begin()
                self._queue.clear()
            self.baud, self.framing = baud, framing

    def drain(self) -> list[HeardBytes]:
        """What arrived since the last call, in order."""
        return [self._queue.popleft() for _ in range(len(self._queue))]

    def close(self) -> None:
        """Stop listening and close the port, after a lost link too. May be called twice."""
        self._is_open = False
        self._hub.remove(self)
        with self._using:
            handle, self._handle = self._handle, None
        if handle is not None:
            close_port(handle)
        self._finder = PortFinder(self.port)

    def fileno(self) -> int:
        """For the hub: what to wait on; -1 while the port is gone."""
        self.heartbeat_ns = self._clock.stamp_ns()
        handle = self._handle
        try:
            return -1 if handle is None else int(handle.fileno())
        except (OSError, TypeError, ValueError, AttributeError):
            return -1

    def take(self) -> bool:
        """For the hub: read what is there, without waiting."""
        with self._using:
            if self._handle is None:
                return False
            try:
                data = self._reader.read()
            except (OSError, TypeError, ValueError, AttributeError) as error:
                self._lose(printable(" ".join(str(error).split()))[:200] or type(error).__name__)
                return False
            if data:
                self._enqueue(data)
            return bool(data)

    def look_for(self) -> None:
        """For the hub: open the port again where it is back."""
        with self._using:
            if not self._is_open or self._handle is not None:
                return
            try:
                self._open_port()
            except SetupError:
                return
            last = self._outages[-1]
            self._outages[-1] = Outage(last.start_ns, self._clock.stamp_ns(), last.why)

    def _open_port(self) -> None:
        self._handle = open_port(self._finder.where(), baud=self.baud, framing=self.framing)
        self._finder.met()
        self.heartbeat_ns = self._clock.stamp_ns()
        self._begin()

    def _begin(self) -> None:
        """After every change of the port's settings, which take the marks away."""
        self._reader = PortReader(self._handle)
        self._decoder, self._told = MarkDecoder(), 0
        self._marks = ask_for_marks(self._handle)

    def _lose(self, why: str) -> None:
        handle, self._handle = self._handle, None
        self._outages.append(Outage(self._clock.stamp_ns(), None, why))
        close_port(handle)

    def _enqueue(self, data: bytes) -> None:
        errors = None
        if self._marks:
            data = self._decoder.feed(data)
            errors, self._told = self._decoder.errors - self._told, self._decoder.errors
            if not data and not errors:
                return
        if len(self._queue) >= self._queue_chunks:
            self.dropped_bytes += len(data)
        else:
            self._queue.append(HeardBytes(self._clock.stamp_ns(), data, errors))
