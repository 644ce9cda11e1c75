"""A CAN adapter as python-can takes it: opened, read and stamped frame by frame.

What the library raises over one garbled line is counted, and reading goes on; only a port that keeps failing is gone.
"""

from __future__ import annotations

import contextlib
import os
import select
import threading
from collections import deque
from typing import TYPE_CHECKING, Any

from benchcheck.bench.can.can_interface import InterfaceFacts, Passive
from benchcheck.bench.clock import Clock
from benchcheck.bench.link import PortGone
from benchcheck.bench.port import PORT_ERRORS, existing_ports_hint, opening_error, printable
from benchcheck.words.errors import SetupError

if TYPE_CHECKING:
    from benchcheck.words.frames import FrameBatch

_SLICE_S = 0.05  # one wait of the reader: how soon it notices that it should stop
_FAILURES_TO_LOSE = 3  # in a row, with a pause between them
_GARBAGE_IN_A_ROW = 100
QUEUE_FRAMES = 200_000  # more than 20 s of a full 1 Mbit/s bus

_Raw = tuple[int, int, int, int, bytes]  # stamp ns, identifier, flags, length, data


class LibraryCan:
    """A source of frames (see can_adapter.FrameSource) through python-can."""

    status: int | None = None  # the library hands on no controller's status
    lossy_since_ns: int | None = None

    def __init__(
        self,
        where: str,
        interface: str,
        channel: str,
        bitrate: int | None,
        facts: InterfaceFacts,
        clock: Clock,
        *,
        acknowledge: bool,
        fd: bool = False,
        queue_frames: int = QUEUE_FRAMES,
    ) -> None:
        self.frames = self.dropped = self.garbled = 0
        self._where = where
        self._interface = interface
        self._channel = channel
        self._bitrate = bitrate
        self._facts = facts
        self._clock = clock
        self._acknowledge = acknowledge
        self._fd = fd
        self._queue: deque[_Raw] = deque()
        self._queue_frames = queue_frames
        self._failures = self._garbage = 0
        self._can: Any = None

    @property
    def passive(self) -> Passive:
        return self._facts.acknowledging if self._acknowledge else self._facts.silent

    def open(self) -> None:
        error = self._open_bus()
        if error is not None:
            raise _explain(self._where, error, self._interface)
        self._failures = self._garbage = 0

    def take(self, stop: threading.Event) -> None:
        try:
            message = _receive(self._can)
        except Exception as error:
            if _is_garbage(error):
                self.garbled += 1
                self._garbage += 1
                if self._garbage > _GARBAGE_IN_A_ROW:
                    stop.wait(_SLICE_S / 10)  # an interface that only raises must not eat a core
                return
            self._failures += 1
            if self._failures >= _FAILURES_TO_LOSE:
                raise PortGone(printable(" ".join(str(error.__cause__ or error).split()))[:200]) from None
            stop.wait(_SLICE_S / 5)
            return
        self._failures = self._garbage = 0
        if message is not None:
            self._enqueue(self._clock.stamp_ns(), message)

    def forget_port(self) -> None:
        """The library opens by name each time."""

    def settle(self) -> None:
        """Nothing waits to be looked at: frames are counted as they come."""

    def drain(self, bus_index: int) -> FrameBatch:
        return _to_batch([self._queue.popleft() for _ in range(len(self._queue))], bus_index)

    def send(self, can_id: int, data: bytes, *, extended: bool) -> None:
        import can

        errors: tuple[type[Exception], ...] = (can.CanError, *PORT_ERRORS)
        try:
            self._can.send(can.Message(arbitration_id=can_id, is_extended_id=extended, data=data), timeout=1.0)
        except errors as error:
            raise opening_error(self._where, error) from None

    def close(self) -> None:
        bus, self._can = self._can, None
        if bus is None:
            return
        import can

        errors: tuple[type[Exception], ...] = (can.CanError, *PORT_ERRORS)
        with contextlib.suppress(*errors):
            bus.shutdown()

    def _open_bus(self) -> BaseException | None:
        """Open python-can's bus. The error is handed back, not raised, so that nothing holds a half-open port."""
        import can

        options: dict[str, Any] = dict(self._facts.open_options)
        if not self._acknowledge:
            options.update(self._facts.silent_options)
        if self._fd:
            options.update(self._facts.fd_options or {})
        if self._bitrate is not None:
            options["bitrate"] = self._bitrate
        try:
            # the user's python-can configuration files stay out of it: the bench's description is the only one
            self._can = can.Bus(interface=self._interface, channel=self._channel, ignore_config=True, **options)
        except Exception as error:
            cause = error.__cause__ or error
            cause.__traceback__ = error.__traceback__ = None
            return error
        return None

    def _enqueue(self, stamp_ns: int, message: Any) -> None:
        raw = _raw_of(stamp_ns, message)
        if raw is None:
            self.garbled += 1
        elif len(self._queue) >= self._queue_frames:
            self.dropped += 1
        else:
            self._queue.append(raw)
            self.frames += 1


def _receive(bus: Any) -> Any:
    """The next message, or None after one slice. Waits by itself where it can: the library waits on the wall clock."""
    fd = _fileno(bus)
    if fd < 0:
        return bus.recv(timeout=_SLICE_S)
    if not select.select([fd], [], [], _SLICE_S)[0]:
        return None
    return bus.recv(timeout=0)


def _fileno(bus: Any) -> int:
    """What to wait on, or -1 where the interface or the system has nothing of the kind."""
    if os.name != "posix":
        return -1
    try:
        return int(bus.fileno())
    except NotImplementedError:
        return -1


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
