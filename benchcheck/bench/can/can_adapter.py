"""One CAN adapter, whatever it is: a link that keeps its source read, and columns for whoever asks."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from benchcheck.bench.can.can_interface import Passive, PassiveState, facts
from benchcheck.bench.can.library_can import LibraryCan
from benchcheck.bench.can.serial_can import SerialCan
from benchcheck.bench.clock import Clock
from benchcheck.bench.link import Link, LinkState, Outage
from benchcheck.words.errors import SetupError

if TYPE_CHECKING:
    from benchcheck.words.frames import FrameBatch

_BYTES_OF_A_FRAME = 27  # of a serial-line adapter, at most, for a classic frame without a stamp


@dataclass(frozen=True, slots=True)
class AdapterCounts:
    """Since opening: frames enqueued, frames dropped (by us, because nobody drained; or by the adapter, by its own word),
    records that were no frame."""

    frames: int
    dropped: int
    garbled: int

    @property
    def lost(self) -> int:
        """Frames that are certainly missing: what was garbled was a frame too."""
        return self.dropped + self.garbled


class FrameSource(Protocol):
    """What stands behind an adapter. Counts only grow.

    status          the controller's status as the adapter last told it, None where it doesn't
    lossy_since_ns  stamp of the status before, where the last one told of frames lost inside the adapter; else None
    """

    frames: int
    dropped: int
    status: int | None
    lossy_since_ns: int | None

    @property
    def garbled(self) -> int: ...

    @property
    def passive(self) -> Passive: ...

    def open(self) -> None: ...

    def take(self, stop: threading.Event) -> None: ...

    def close(self) -> None: ...

    def forget_port(self) -> None:
        """The next `open` is of whatever stands at the name that was given, not of the port that was met before."""

    def settle(self) -> None:
        """Count what was read."""

    def drain(self, bus_index: int) -> FrameBatch: ...

    def send(self, can_id: int, data: bytes, *, extended: bool) -> None: ...


class CanAdapter:
    """A CAN adapter. Open it, drain it, close it; a port that went away is opened again when it is back.

    acknowledge  False asks the interface for silence, and `passive` says what that is worth. True lets it
                 take part: a lone unit is then acknowledged by this bench.
    fd           whether FD frames may come: the interface is opened for them, where it is known how
    silence      how this adapter was proved silent, in words; empty where it wasn't
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
        fd: bool = False,
        bus_index: int = 0,
        queue_frames: int | None = None,
        clock: Clock | None = None,
        silence: str = "",
    ) -> None:
        self.bus = bus
        self.interface = interface
        self.channel = channel
        self.bitrate = bitrate
        self.acknowledge = acknowledge
        self.fd = fd
        self._silence = silence
        self._bus_index = bus_index
        self._facts = facts(interface)
        where, used = f"CAN adapter of {bus} at {channel}", clock or Clock()
        options: dict[str, int] = {}
        self._source: FrameSource
        if self._facts.is_serial:
            if queue_frames is not None:
                options["queue_bytes"] = _BYTES_OF_A_FRAME * queue_frames
            self._source = SerialCan(where, channel, bitrate, self._facts, used, acknowledge=acknowledge, **options)
        else:
            if queue_frames is not None:
                options["queue_frames"] = queue_frames
            self._source = LibraryCan(
                where, interface, channel, bitrate, self._facts, used, acknowledge=acknowledge, fd=fd, **options
            )
        self._link = Link(f"can-{bus}", self._source, used)

    @property
    def passive(self) -> Passive:
        """Whether this bench is silent on the bus, and how we know."""
        if self._silence and not self.acknowledge:
            return Passive(PassiveState.PROVED, self._silence)
        return self._source.passive

    @property
    def error_frames_reported(self) -> bool:
        """False: having seen no error frame says nothing."""
        return self._facts.error_frames

    @property
    def status(self) -> int | None:
        """The controller's status as serial_can_words.StatusBit; None: not reported by this adapter (as yet)."""
        return self._source.status

    @property
    def controller_errors(self) -> bool | None:
        """Whether that status tells of errors on the bus; None: not reported by this adapter (as yet)."""
        from benchcheck.bench.can.serial_can_words import StatusBit

        if self.status is None:
            return None
        return bool(self.status & (StatusBit.BUS_ERROR | StatusBit.ERROR_PASSIVE | StatusBit.WARNING))

    @property
    def controller(self) -> str:
        """The same in words."""
        from benchcheck.bench.can.serial_can_words import StatusBit

        status = self.status
        if status is None:
            return "not reported by this adapter"
        said = [
            (StatusBit.BUS_ERROR, "bus error"),
            (StatusBit.ERROR_PASSIVE, "error passive"),
            (StatusBit.WARNING, "error warning"),
            (StatusBit.OVERRUN | StatusBit.RECEIVE_FULL, "frames lost in the adapter"),
        ]
        return ", ".join(words for bits, words in said if status & bits) or "no errors"

    @property
    def identity(self) -> str:
        rate = f"{self.bitrate} bit/s as configured" if self.bitrate else "bit rate as the adapter has it"
        errors = "error frames reported" if self.error_frames_reported else "error frames not reported by this adapter"
        unasked = self.fd and self._facts.fd_options is None
        fd = "; FD frames can't be asked for here, and may look like errors" if unasked else ""
        return f"{self.interface} on {self.channel}, {rate}; {self.passive.sentence}; {errors}{fd}"

    @property
    def counts(self) -> AdapterCounts:
        self._source.settle()
        return AdapterCounts(self._source.frames, self._source.dropped, self._source.garbled)

    @property
    def heartbeat_ns(self) -> int:
        """When the reader last went round, as a stamp of the clock; 0 before opening. A silent bus does not stop it."""
        return self._link.heartbeat_ns

    @property
    def state(self) -> LinkState:
        return self._link.state

    @property
    def outages(self) -> tuple[Outage, ...]:
        """When the port was gone, since opening."""
        return self._link.outages

    @property
    def lossy_since_ns(self) -> int | None:
        """Since when frames may have been lost inside the adapter, where its last status told of that; else None."""
        return self._source.lossy_since_ns

    @property
    def why(self) -> str:
        """What ended the link the last time, in words."""
        return self._link.why

    def open(self) -> None:
        """Open the adapter and start reading. SetupError in words; nothing stays open then."""
        self._link.open()

    def drain(self) -> FrameBatch:
        """Everything that arrived since the last call, in order of arrival."""
        return self._source.drain(self._bus_index)

    def send(self, can_id: int, data: bytes, *, extended: bool = False) -> None:
        """Send one data frame. SetupError on a bench that was opened to listen."""
        if not self.acknowledge:
            raise SetupError("opened to listen only", where=f"CAN adapter of {self.bus}", hint="Nothing was sent.")
        self._source.send(can_id, data, extended=extended)

    def close(self) -> None:
        """Stop the reader, shut the bus down and give the port back; after a lost link too. May be called twice."""
        self._link.close()
        self._source.forget_port()
