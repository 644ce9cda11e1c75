"""One CAN adapter: a reader thread that stamps and enqueues, and columns for whoever asks.

The reader outlives garbage: what the library raises over one garbled line is counted, and reading goes on.
Only a port that keeps failing ends it, as "link lost", which is kept as data and never thrown at the reader of
the traffic. Supervision and reopening build on `state`, `heartbeat_ns` and `open`.
"""

from __future__ import annotations

import os
import select
import threading
from collections import deque
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from benchcheck.bench.can_interface import Passive, facts
from benchcheck.bench.clock import Clock
from benchcheck.bench.port import PORT_ERRORS, PortLock, close_port, existing_ports_hint, opening_error, printable
from benchcheck.words.errors import SetupError

if TYPE_CHECKING:
    from benchcheck.words.frames import FrameBatch

_SLICE_S = 0.05  # one wait of the reader: how soon it notices that it should stop
_JOIN_S = 1.0
_FAILURES_TO_LOSE = 3  # in a row, with a pause between them
_GARBAGE_IN_A_ROW = 100
_QUEUE_FRAMES = 200_000  # more than 20 s of a full 1 Mbit/s bus
_HEARTBEAT_LATE_NS = 1_000_000_000


class AdapterState(StrEnum):
    CLOSED = "closed"
    LISTENING = "listening"
    LINK_LOST = "link lost"
    READER_SILENT = "reader silent"  # the thread has not been round for a second: says nothing about the bus


@dataclass(frozen=True, slots=True)
class AdapterCounts:
    """Since opening: frames enqueued, frames dropped because nobody drained, records that were no frame."""

    frames: int
    dropped: int
    garbled: int


_Raw = tuple[int, int, int, int, bytes]  # stamp ns, identifier, flags, length, data


class CanAdapter:
    """A CAN adapter as python-can takes it. Open it, drain it, close it.

    acknowledge  False asks the interface for silence, and `passive` says what that is worth. True lets it
                 take part: a lone unit is then acknowledged by this bench.
    bus_index    goes into the `bus` column of every batch
    """

    def __init__(
        self,
        bus: str,
        interface: str,
        channel: str,
        bitrate: int | None = None,
        *,
        acknowledge: bool = False,
        bus_index: int = 0,
        queue_frames: int = _QUEUE_FRAMES,
        clock: Clock | None = None,
    ) -> None:
        self.bus = bus
        self.interface = interface
        self.channel = channel
        self.bitrate = bitrate
        self.acknowledge = acknowledge
        self.why = ""  # what ended the link, in words
        self._bus_index = bus_index
        self._facts = facts(interface)
        self._clock = clock or Clock()
        self._queue: deque[_Raw] = deque()
        self._queue_frames = queue_frames
        self._frames = self._dropped = self._garbled = 0
        self._heartbeat_ns = 0
        self._stop = threading.Event()
        self._lost = False
        self._thread: threading.Thread | None = None
        self._lock: PortLock | None = None
        self._can: Any = None

    @property
    def passive(self) -> Passive:
        """Whether this bench is silent on the bus, and how we know."""
        return self._facts.acknowledging if self.acknowledge else self._facts.silent

    @property
    def error_frames_reported(self) -> bool:
        """False: having seen no error frame says nothing."""
        return self._facts.error_frames

    @property
    def identity(self) -> str:
        rate = f"{self.bitrate} bit/s as configured" if self.bitrate else "bit rate as the adapter has it"
        errors = "error frames reported" if self.error_frames_reported else "error frames not reported by this adapter"
        return f"{self.interface} on {self.channel}, {rate}; {self.passive.sentence}; {errors}"

    @property
    def counts(self) -> AdapterCounts:
        return AdapterCounts(self._frames, self._dropped, self._garbled)

    @property
    def heartbeat_ns(self) -> int:
        """When the reader last went round, as a stamp of the clock; 0 before opening. A silent bus does not stop it."""
        return self._heartbeat_ns

    @property
    def state(self) -> AdapterState:
        if self._lost:
            return AdapterState.LINK_LOST
        if self._thread is None:
            return AdapterState.CLOSED
        if self._clock.stamp_ns() - self._heartbeat_ns > _HEARTBEAT_LATE_NS:
            return AdapterState.READER_SILENT
        return AdapterState.LISTENING

    def open(self) -> None:
        """Open the adapter and start reading. SetupError in words; nothing stays open then."""
        if self._can is not None:
            return
        where = f"CAN adapter of {self.bus} at {self.channel}"
        if self._facts.is_serial:
            self._lock = PortLock(self.channel.partition("@")[0])
        error = self._open_bus()
        if error is not None:
            self._release_lock()
            raise _explain(where, error, self.interface)
        self._lost, self.why = False, ""
        self._stop.clear()
        self._heartbeat_ns = self._clock.stamp_ns()
        self._thread = threading.Thread(target=self._read, name=f"can-{self.bus}", daemon=True)
        self._thread.start()

    def drain(self) -> FrameBatch:
        """Everything that arrived since the last call, in order of arrival."""
        taken = [self._queue.popleft() for _ in range(len(self._queue))]
        return _to_batch(taken, self._bus_index)

    def send(self, can_id: int, data: bytes, *, extended: bool = False) -> None:
        """Send one data frame. SetupError on a bench that was opened to listen."""
        if not self.acknowledge:
            raise SetupError("opened to listen only", where=f"CAN adapter of {self.bus}", hint="Nothing was sent.")
        import can

        errors: tuple[type[Exception], ...] = (can.CanError, *PORT_ERRORS)
        try:
            self._can.send(can.Message(arbitration_id=can_id, is_extended_id=extended, data=data), timeout=1.0)
        except errors as error:
            raise opening_error(f"CAN adapter of {self.bus}", error) from None

    def close(self) -> None:
        """Stop the reader, shut the bus down and give the port back; after a lost link too. May be called twice."""
        thread, self._thread = self._thread, None
        self._stop.set()
        if thread is not None:
            thread.join(_JOIN_S)
        bus, self._can = self._can, None
        try:
            if bus is not None:
                _shut_down(bus)
        finally:
            self._release_lock()
            if thread is not None:
                thread.join()  # one that still hung in the library falls out of it when the port is closed

    def _open_bus(self) -> BaseException | None:
        """Open python-can's bus. The error is handed back, not raised, so that nothing holds a half-open port."""
        import can

        options: dict[str, Any] = dict(self._facts.open_options)
        if not self.acknowledge:
            options.update(self._facts.silent_options)
        if self.bitrate is not None:
            options["bitrate"] = self.bitrate
        try:
            # the user's python-can configuration files stay out of it: the bench's description is the only one
            self._can = can.Bus(interface=self.interface, channel=self.channel, ignore_config=True, **options)
        except Exception as error:
            cause = error.__cause__ or error
            cause.__traceback__ = error.__traceback__ = None
            return error
        return None

    def _release_lock(self) -> None:
        lock, self._lock = self._lock, None
        if lock is not None:
            lock.release()

    def _read(self) -> None:
        """The reader thread: stamps, enqueues, counts."""
        bus, failures, garbage = self._can, 0, 0
        fd = _fileno(bus)
        while not self._stop.is_set():
            self._heartbeat_ns = self._clock.stamp_ns()
            try:
                message = _receive(bus, fd)
            except Exception as error:
                if _is_garbage(error):
                    self._garbled += 1
                    garbage += 1
                    _forget_partial_line(bus)
                    if garbage > _GARBAGE_IN_A_ROW:
                        self._stop.wait(_SLICE_S / 10)  # an interface that only raises must not eat a core
                    continue
                failures += 1
                if failures >= _FAILURES_TO_LOSE:
                    self.why = printable(" ".join(str(error.__cause__ or error).split()))[:200]
                    self._lost = True
                    return
                self._stop.wait(_SLICE_S / 5)
                continue
            failures = garbage = 0
            if message is not None:
                self._enqueue(self._clock.stamp_ns(), message)

    def _enqueue(self, stamp_ns: int, message: Any) -> None:
        raw = _raw_of(stamp_ns, message)
        if raw is None:
            self._garbled += 1
        elif len(self._queue) >= self._queue_frames:
            self._dropped += 1
        else:
            self._queue.append(raw)
            self._frames += 1


def _fileno(bus: Any) -> int:
    """What to wait on, or -1 where the interface or the system has nothing of the kind."""
    if os.name != "posix":
        return -1
    try:
        return int(bus.fileno())
    except NotImplementedError:
        return -1


def _receive(bus: Any, fd: int) -> Any:
    """The next message, or None after one slice. Waits by itself where it can: the library waits on the wall clock."""
    if fd < 0:
        return bus.recv(timeout=_SLICE_S)
    if not select.select([fd], [], [], _SLICE_S)[0]:
        return None
    return bus.recv(timeout=0)


def _raw_of(stamp_ns: int, message: Any) -> _Raw | None:
    """A message as plain values; None where identifier, length and data don't agree (the library lets that pass)."""
    from benchcheck.words.frames import FrameFlag

    flags = 0
    if message.is_extended_id:
        flags |= FrameFlag.EXTENDED
    if message.is_fd:
        flags |= FrameFlag.FD
        if message.bitrate_switch:
            flags |= FrameFlag.BRS
        if message.error_state_indicator:
            flags |= FrameFlag.ESI
    if not message.is_rx:
        flags |= FrameFlag.SENT
    length, data = int(message.dlc), bytes(message.data)
    if message.is_error_frame:
        return stamp_ns, message.arbitration_id & 0x1FFFFFFF, int(flags | FrameFlag.ERROR), len(data), data
    if not 0 <= message.arbitration_id <= (0x1FFFFFFF if message.is_extended_id else 0x7FF):
        return None
    if length > (64 if message.is_fd else 8):
        return None
    if message.is_remote_frame:
        return stamp_ns, message.arbitration_id, int(flags | FrameFlag.REMOTE), length, b""
    if len(data) != length:
        return None
    return stamp_ns, message.arbitration_id, int(flags), length, data


def _to_batch(taken: list[_Raw], bus_index: int) -> FrameBatch:
    import numpy as np

    from benchcheck.words.frames import FrameBatch

    width = 64 if any(len(raw[4]) > 8 for raw in taken) else 8
    data = b"".join(raw[4].ljust(width, b"\0") for raw in taken)
    return FrameBatch(
        time_ns=np.array([raw[0] for raw in taken], dtype=np.int64),
        bus=np.full(len(taken), bus_index, dtype=np.uint16),
        can_id=np.array([raw[1] for raw in taken], dtype=np.uint32),
        flags=np.array([raw[2] for raw in taken], dtype=np.uint16),
        length=np.array([raw[3] for raw in taken], dtype=np.uint8),
        data=np.frombuffer(data, dtype=np.uint8).reshape(len(taken), width).copy(),
    )


def _is_garbage(error: BaseException) -> bool:
    """Whether the line was bad, and not the link. The library wraps some parse errors in its own link error."""
    innermost: BaseException = error
    while innermost.__cause__ is not None:
        innermost = innermost.__cause__
    return isinstance(innermost, (ValueError, LookupError, AssertionError)) and not isinstance(innermost, OSError)


def _forget_partial_line(bus: Any) -> None:
    """python-can's serial-line interface keeps a line that it could not decode and stumbles over it for ever."""
    partial = getattr(bus, "_buffer", None)
    if isinstance(partial, bytearray):
        partial.clear()


def _shut_down(bus: Any) -> None:
    """Shut a python-can bus down; if its last words fail because the port is gone, close the port all the same."""
    import can

    port = getattr(bus, "serialPortOrig", None)
    inner = getattr(port, "_socket", None)
    errors: tuple[type[Exception], ...] = (can.CanError, *PORT_ERRORS)
    try:
        bus.shutdown()
    except errors:
        if port is not None:
            close_port(port)
    finally:
        if inner is not None:
            inner.close()  # pyserial forgets it when the other end had closed


def _explain(where: str, error: BaseException, interface: str) -> SetupError:
    import can

    if isinstance(error, NotImplementedError):
        known = ", ".join(sorted(can.VALID_INTERFACES))
        return SetupError(
            f"interface '{printable(interface)}' can't be used here: {printable(str(error))[:200]}",
            where=where,
            hint=f"python-can knows: {known}.",
        )
    if isinstance(error, (ValueError, TypeError)):
        return SetupError(printable(str(error))[:200], where=where, hint="Correct the bench's description.")
    if error.__cause__ is None and not isinstance(error, OSError) and not str(error):
        return SetupError(f"can't be opened: {type(error).__name__}", where=where, hint=existing_ports_hint())
    return opening_error(where, error)
