"""The bench: opens what is asked for when it is asked for, and closes all of it in reverse."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from types import TracebackType
from typing import TYPE_CHECKING

from benchcheck.bench.can.can_adapter import CanAdapter
from benchcheck.bench.can.can_interface import facts
from benchcheck.bench.clock import Clock
from benchcheck.bench.hands import Hands
from benchcheck.bench.instruments.guardian import Guardian
from benchcheck.bench.instruments.matrix import Matrix
from benchcheck.bench.instruments.meter import Meter, ScpiMeter
from benchcheck.bench.instruments.scpi import Instrument
from benchcheck.bench.instruments.supply import Supply
from benchcheck.bench.instruments.watchdog import Watchdog
from benchcheck.bench.lines.line_hub import LineHub
from benchcheck.bench.lines.line_loop import LoopLine
from benchcheck.bench.lines.serial_line import LineListener
from benchcheck.words.errors import SetupError

if TYPE_CHECKING:
    from benchcheck.bench.config import BenchConfig, CanPort


class Bench:
    """Everything on the bench, behind one door. Use it in a `with`.

    Each device is opened at its first use and then shared. SetupError says what could not be opened, where, and
    what to do. Leaving the `with` switches the supply off first of all (it is asked for last in every plan, and
    where it was not, it is still switched off), then closes the rest in reverse order of opening.
    """

    def __init__(self, config: BenchConfig, clock: Clock | None = None, *, keeps_supply: bool = False) -> None:
        """`keeps_supply`: whoever only asks a supply who it is leaves its output as it was."""
        self.config = config
        self._keeps_supply = keeps_supply
        self.clock = clock or Clock()
        self._open = ExitStack()
        self._meter: Meter | None = None
        self._supply: Supply | None = None
        self._hands: Hands | None = None
        self._matrix: Matrix | None = None
        self._can: dict[str, CanAdapter] = {}
        self._lines: dict[str, LineListener] = {}
        self._hub = LineHub()

    def __enter__(self) -> Bench:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Supply off, then everything closed, whatever fails on the way. May be called twice."""
        stack, self._open = self._open, ExitStack()
        with stack:
            supply, self._supply = self._supply, None
            self._meter = self._hands = self._matrix = None
            self._can, self._lines = {}, {}
            if supply is not None:
                supply.close()

    @property
    def has_meter(self) -> bool:
        """Whether ohms and volts are read by an instrument; otherwise they are typed in."""
        return self.config.meter is not None and not self.config.meter.manual

    @property
    def meter(self) -> Meter:
        """The meter, opened. SetupError on a bench where readings are typed in."""
        if self._meter is None:
            port = self.config.meter
            if port is None or port.manual:
                raise SetupError(
                    "has no meter that can be asked",
                    where=self.config.name,
                    hint="Type the readings in, or name the meter in bench.toml under [meter].",
                )
            instrument = Instrument("meter", port.resource, expect=port.identity, baud=port.baud)
            self._open.callback(instrument.close)
            meter = ScpiMeter(instrument, port.spec)
            meter.read_back()
            self._meter = meter
        return self._meter

    @property
    def supply(self) -> Supply:
        """The supply, opened; its output is as it was."""
        if self._supply is None:
            port = self.config.supply
            if port is None:
                raise SetupError(
                    "has no supply that can be commanded",
                    where=self.config.name,
                    hint="Name it in bench.toml under [supply].",
                )
            instrument = Instrument("supply", port.resource, expect=port.identity, baud=port.baud)
            self._open.callback(instrument.close)
            keys = port.watchdog
            self._supply = Supply(
                instrument,
                self.config.meter_spec,
                off_at_the_end=not self._keeps_supply,
                guardian=Guardian(port.resource, identity=instrument.identity, baud=port.baud),
                watchdog=Watchdog(instrument, **keys.model_dump()) if keys is not None else None,
            )
        return self._supply

    @property
    def matrix(self) -> Matrix | None:
        """The switch matrix, opened, all its channels open; None where there is none."""
        port = self.config.matrix
        if self._matrix is None and port is not None:
            instrument = Instrument("matrix", port.resource, expect=port.identity, baud=port.baud)
            self._open.callback(instrument.close)
            self._matrix = Matrix(instrument, port.red, port.black)
            self._open.callback(self._matrix.close)
        return self._matrix

    @property
    def hands(self) -> Hands | None:
        """The hands of a simulated bench; None where a person has to move things."""
        if self._hands is None and self.config.hands is not None:
            self._hands = Hands(self.config.hands.port)
            self._open.callback(self._hands.close)
        return self._hands

    def can(self, bus: str, bitrate: int | None = None, *, acknowledge: bool = False, fd: bool = False) -> CanAdapter:
        """The adapter of a bus, listening. The description's bit rate wins over `bitrate`.

        `acknowledge` lets the adapter take part in the bus; it must be asked for, here, in so many words. `fd`: whether
        FD frames may come.
        """
        adapter = self._can.get(bus)
        if adapter is not None:
            if (adapter.acknowledge, adapter.fd) == (acknowledge, fd):
                return adapter
            adapter.close()
        index, port = self._can_port(bus)
        adapter = CanAdapter(
            bus,
            port.interface,
            port.channel,
            port.bitrate or bitrate,
            acknowledge=acknowledge,
            fd=fd,
            bus_index=index,
            clock=self.clock,
            silence=port.silence,
        )
        adapter.open()
        self._open.callback(adapter.close)
        self._can[bus] = adapter
        return adapter

    def sets_bitrate(self, bus: str) -> bool:
        """Whether the bit rate of this bus's adapter is set by this program. SetupError where there is no adapter."""
        return facts(self._can_port(bus)[1].interface).sets_bitrate

    @contextmanager
    def can_at(self, bus: str, bitrate: int, *, acknowledge: bool = False) -> Iterator[CanAdapter]:
        """The adapter of a bus at another bit rate for a while, whatever the description says. SetupError as for `can`."""
        index, port = self._can_port(bus)
        adapter = self._can.pop(bus, None)
        if adapter is not None:
            adapter.close()
        made = CanAdapter(
            bus, port.interface, port.channel, bitrate, acknowledge=acknowledge, bus_index=index, clock=self.clock
        )
        made.open()
        try:
            yield made
        finally:
            made.close()

    def _can_port(self, bus: str) -> tuple[int, CanPort]:
        for index, port in enumerate(self.config.can):
            if port.bus == bus:
                return index, port
        raise SetupError(f"has no CAN adapter for {bus}", where=self.config.name, hint=self._named("can", self.buses))

    def line(self, name: str, baud: int | None = None, framing: str | None = None) -> LineListener:
        """The listener on a serial port, open; `baud` and `framing` set the speed anew where they are given."""
        listener = self._lines.get(name)
        if listener is not None:
            wanted = (baud or listener.baud, framing or listener.framing)
            if wanted != (listener.baud, listener.framing):
                listener.set_speed(*wanted)
            return listener
        port = next((port.port for port in self.config.serial if port.name == name), None)
        if port is None:
            raise SetupError(
                f"has no serial port '{name}'", where=self.config.name, hint=self._named("serial", self.taps)
            )
        listener = LineListener(port, baud or 4800, framing or "8N1", clock=self.clock, hub=self._hub)
        listener.open()
        self._open.callback(listener.close)
        self._lines[name] = listener
        return listener

    @contextmanager
    def loop_line(self, name: str, baud: int, framing: str) -> Iterator[LoopLine]:
        """A serial port that may send, for as long as the block: for a loop-back test that somebody allowed.

        SetupError as for `line`; a listener on the same port is closed before.
        """
        port = next((port.port for port in self.config.serial if port.name == name), None)
        if port is None:
            raise SetupError(
                f"has no serial port '{name}'", where=self.config.name, hint=self._named("serial", self.taps)
            )
        listener = self._lines.pop(name, None)
        if listener is not None:
            listener.close()
        line = LoopLine(port, baud, framing, clock=self.clock, hub=self._hub)
        line.open()
        try:
            yield line
        finally:
            line.close()

    @property
    def buses(self) -> tuple[str, ...]:
        return tuple(port.bus for port in self.config.can)

    @property
    def taps(self) -> tuple[str, ...]:
        return tuple(port.name for port in self.config.serial)

    def identities(self) -> dict[str, str]:
        """Who is on the bench, by device. Opens meter and supply to ask them; ports say how they are described."""
        found = {"bench": self.config.name + (" (simulated)" if self.config.simulated else "")}
        found["meter"] = self.meter.identity if self.has_meter else "readings typed in"
        if self.has_meter and (settings := getattr(self.meter, "settings", "")):
            found["meter settings"] = settings
        if self.config.supply is not None:
            found["supply"] = self.supply.identity
        if (matrix := self.matrix) is not None:
            found["matrix"] = matrix.identity
        for port in self.config.can:
            adapter = self._can.get(port.bus)
            found[f"can {port.bus}"] = (
                adapter.identity if adapter else f"{port.interface} on {port.channel}, not opened"
            )
        for line in self.config.serial:
            listener = self._lines.get(line.name)
            found[f"serial {line.name}"] = listener.identity if listener else f"{line.port}, not opened"
        for lead in self.config.leads:
            found[f"breakout {lead.name}"] = f"{lead.family}, {lead.gender.value}s, {lead}"
        return found

    def passive(self) -> dict[str, str]:
        """By bus: whether this bench is silent there, and how we know."""
        return {
            port.bus: self._can[port.bus].passive.sentence
            if port.bus in self._can
            else port.silence or facts(port.interface).silent.sentence
            for port in self.config.can
        }

    def _named(self, table: str, names: tuple[str, ...]) -> str:
        known = f"It has {', '.join(names)}. " if names else ""
        return f"{known}Name it in bench.toml under [[{table}]]."
