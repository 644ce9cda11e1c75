"""A CAN adapter on a serial line: silent mode first, its refusals heard, read in bulk.

The library's own interface for these opens acknowledging first, passes over what the adapter refuses, sleeps two seconds, and
keeps up with a part of a full bus only. Here one thread reads what is there and stamps it; the bytes become columns when
somebody asks for them.
"""

from __future__ import annotations

import threading
from collections import deque
from typing import TYPE_CHECKING, Any

from benchcheck.bench.can.can_interface import InterfaceFacts, Passive, PassiveState
from benchcheck.bench.clock import Clock
from benchcheck.bench.link import PortGone
from benchcheck.bench.port import PORT_ERRORS, close_port, open_port, opening_error, printable
from benchcheck.bench.port_finder import PortFinder
from benchcheck.bench.port_reader import PortReader
from benchcheck.words.errors import SetupError

if TYPE_CHECKING:
    from benchcheck.bench.can.serial_can_words import SerialCanParser
    from benchcheck.words.frames import FrameBatch

QUEUE_BYTES = 8_000_000  # more than 30 s of a full 1 Mbit/s bus
_BAUD = 115_200  # of the port, where the channel does not name one behind an @; USB adapters take any
_SLICE_S = 0.05
_PAUSE_S = 0.004  # while much comes: to read more at once. A pseudo-terminal holds 4 KB, 20 ms of a full bus
_MUCH_BYTES = 256
_ANSWER_S = 0.25  # an adapter that says neither yes nor no in this time says nothing
_QUIET_S = 0.02
_STATUS_EVERY_NS = 1_000_000_000
# what a port raises that has gone, and one that is being closed meanwhile
_PORT_TROUBLES: tuple[type[Exception], ...] = (*PORT_ERRORS, TypeError, ValueError, AttributeError)
_YES, _NO = b"\r", b"\a"

RATES = {
    10_000: "0",
    20_000: "1",
    50_000: "2",
    100_000: "3",
    125_000: "4",
    250_000: "5",
    500_000: "6",
    750_000: "7",
    1_000_000: "8",
    83_300: "9",
}
"""Bit rates by the digit behind `S`, as python-can's serial-line interface has them."""


class SerialCan:
    """A source of frames (see can_adapter.FrameSource) from a serial-line adapter."""

    def __init__(
        self,
        where: str,
        channel: str,
        bitrate: int | None,
        facts: InterfaceFacts,
        clock: Clock,
        *,
        acknowledge: bool,
        queue_bytes: int = QUEUE_BYTES,
    ) -> None:
        self.frames = self.dropped = 0
        self.status: int | None = None
        self.lossy_since_ns: int | None = None
        self._status_ns = 0
        self._where = where
        name, _, baud = channel.partition("@") if "://" not in channel else (channel, "", "")
        self._baud = int(baud) if baud.isdigit() else _BAUD
        self._name = name
        self._finder = PortFinder(name)
        self._bitrate = bitrate
        self._facts = facts
        self._clock = clock
        self._acknowledge = acknowledge
        self._silent_answer: bytes | None = None
        self._queue: deque[tuple[int, bytes | None]] = deque()  # None: what comes behind it doesn't go on from before
        self._put_bytes = self._taken_bytes = 0
        self._queue_bytes = queue_bytes
        self._skipped = self._cut = False  # whether the last chunk was dropped, and ended within a line
        self._parser: SerialCanParser | None = None
        self._ready: list[FrameBatch] = []
        self._parsing = threading.Lock()
        self._writing = threading.Lock()
        self._asked_ns: int | None = None
        self._tells_status = True
        self._port: Any = None
        self._reader = PortReader(None)

    @property
    def garbled(self) -> int:
        return self._parser.garbled if self._parser is not None else 0

    @property
    def passive(self) -> Passive:
        if self._acknowledge:
            return self._facts.acknowledging
        if self._silent_answer == _YES:
            return Passive(PassiveState.BY_THE_ADAPTERS_WORD, "the adapter was asked for silent mode and said yes")
        return self._facts.silent

    def open(self) -> None:
        code = self._rate_code()
        port = open_port(self._finder.where(), baud=self._baud)
        self._port, self._reader, self._asked_ns = port, PortReader(port), None
        self._status_ns = self._clock.stamp_ns()
        self._queue.append((self._clock.stamp_ns(), None))
        try:
            self._greet(code)
        except SetupError:
            self.close()
            raise
        except PORT_ERRORS as error:
            self.close()
            raise opening_error(self._where, error) from None
        self._finder.met()

    def take(self, stop: threading.Event) -> None:
        try:
            self._ask_for_status()
            data = self._reader.read(_SLICE_S)
        except _PORT_TROUBLES as error:
            raise PortGone(printable(" ".join(str(error).split()))[:200] or type(error).__name__) from None
        if not data:
            return
        self._enqueue(self._clock.stamp_ns(), data)
        if len(data) >= _MUCH_BYTES:
            stop.wait(_PAUSE_S)

    def forget_port(self) -> None:
        self._finder = PortFinder(self._name)

    def settle(self) -> None:
        """Turn what was read into frames, so that they are counted."""
        with self._parsing:
            whole: list[tuple[int, bytes]] = []
            for _ in range(len(self._queue)):
                stamp_ns, data = self._queue.popleft()
                if data is not None:
                    whole.append((stamp_ns, data))
                    self._taken_bytes += len(data)
                    continue
                self._parse(whole)
                whole = []
                if self._parser is not None:
                    self._parser.break_line()
            self._parse(whole)

    def _parse(self, chunks: list[tuple[int, bytes]]) -> None:
        from benchcheck.bench.can.serial_can_words import SerialCanParser, StatusBit

        if not chunks:
            return
        parser = self._parser = self._parser or SerialCanParser()
        refusals, parser.status = parser.refusals, None
        batch = parser.feed(chunks)
        if parser.status is not None:
            self.status = parser.status
            # frames were lost inside the adapter: how many it does not say, only that it was since it was asked before
            is_lossy = bool(parser.status & (StatusBit.OVERRUN | StatusBit.RECEIVE_FULL))
            self.dropped += is_lossy
            self.lossy_since_ns = self._status_ns if is_lossy else None
            self._status_ns = chunks[0][0]
        elif parser.refusals > refusals and self.status is None:
            self._tells_status = False
        if len(batch):
            self.frames += len(batch)
            self._ready.append(batch)

    def drain(self, bus_index: int) -> FrameBatch:
        from benchcheck.words.frames import joined, no_frames

        self.settle()
        with self._parsing:
            ready, self._ready = self._ready, []
        if not ready:
            return no_frames()
        batch = ready[0] if len(ready) == 1 else joined(ready)
        batch.bus.fill(bus_index)
        return batch

    def send(self, can_id: int, data: bytes, *, extended: bool) -> None:
        from benchcheck.bench.can.serial_can_words import frame_line

        self._write(frame_line(can_id, data, extended=extended))

    def close(self) -> None:
        port, self._port = self._port, None
        if port is None:
            return
        try:
            port.write(b"C\r")
            port.flush()
        except _PORT_TROUBLES:
            pass  # gone already
        close_port(port)

    def _rate_code(self) -> str | None:
        if self._bitrate is None:
            return None
        if self._bitrate not in RATES:
            known = ", ".join(str(rate) for rate in sorted(RATES))
            raise SetupError(
                f"a serial-line adapter has no bit rate of {self._bitrate} bit/s",
                where=self._where,
                hint=f"It has {known}.",
            )
        return RATES[self._bitrate]

    def _greet(self, rate: str | None) -> None:
        """Close the channel that somebody may have left open, set the rate, open silent unless told otherwise."""
        self._port.write(b"\r\r\rC\r")
        self._hush()
        if rate is not None and self._ask(f"S{rate}\r".encode()) == _NO:
            raise SetupError(
                f"the adapter refuses {self._bitrate} bit/s", where=self._where, hint="Name another bit rate."
            )
        answer = self._ask(b"O\r" if self._acknowledge else b"L\r")
        if answer == _NO and self._acknowledge:
            raise SetupError(
                "the adapter refuses to open its channel",
                where=self._where,
                hint="Name its bit rate; pull it out and put it in again.",
            )
        if answer == _NO:
            raise SetupError(
                "the adapter refuses silent mode: it can only listen by acknowledging what it hears",
                where=self._where,
                hint="Where that is meant, say --acknowledge; otherwise use another adapter.",
            )
        self._silent_answer = answer

    def _ask(self, command: bytes) -> bytes | None:
        """Send a command: its yes, its no, or None where nothing came in time. What came behind the answer is kept."""
        self._port.write(command)
        until_ns = self._clock.monotonic_ns() + int(_ANSWER_S * 1e9)
        heard = b""
        while (left_s := (until_ns - self._clock.monotonic_ns()) / 1e9) > 0:
            heard += self._reader.read(left_s)
            ends = [place for place in (heard.find(_YES), heard.find(_NO)) if place >= 0]
            if ends:
                end = min(ends)
                if heard[end + 1 :]:
                    self._enqueue(self._clock.stamp_ns(), heard[end + 1 :])
                return heard[end : end + 1]
        return None

    def _hush(self) -> None:
        """Throw away what comes until nothing does."""
        until_ns = self._clock.monotonic_ns() + int(_ANSWER_S * 1e9)
        while self._clock.monotonic_ns() < until_ns and self._reader.read(_QUIET_S):
            pass

    def _ask_for_status(self) -> None:
        """Once a second, where the adapter has a status. That is between the two of us: nothing goes onto the bus."""
        now_ns = self._clock.monotonic_ns()
        if self._tells_status and (self._asked_ns is None or now_ns - self._asked_ns >= _STATUS_EVERY_NS):
            first, self._asked_ns = self._asked_ns is None, now_ns
            if not first:
                self._write(b"F\r")

    def _write(self, data: bytes) -> None:
        try:
            with self._writing:
                self._port.write(data)
        except _PORT_TROUBLES as error:
            raise opening_error(self._where, error) from None

    def _enqueue(self, stamp_ns: int, data: bytes) -> None:
        if self._put_bytes - self._taken_bytes + len(data) > self._queue_bytes:
            self.dropped += data.count(b"\r")
            if not self._skipped:
                self._queue.append((stamp_ns, None))
            self._skipped, self._cut = True, not data.endswith(b"\r")
            return
        if self._skipped and self._cut:
            # the end of a line whose beginning was dropped
            self.dropped += 1
            data = data[data.find(b"\r") + 1 :]
        self._skipped = False
        self._queue.append((stamp_ns, data))
        self._put_bytes += len(data)
