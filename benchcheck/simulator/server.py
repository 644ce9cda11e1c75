"""The simulated bench as one process: every device on its endpoint, one loop that serves them all."""

from __future__ import annotations

import contextlib
import selectors
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from benchcheck.harness.model import Bus, Harness
from benchcheck.simulator.can_adapter import CanAdapter
from benchcheck.simulator.endpoints import Endpoint, make_endpoint
from benchcheck.simulator.faults import Fault
from benchcheck.simulator.hands import Hands
from benchcheck.simulator.instruments import BenchSupply, Meter
from benchcheck.simulator.lines import LineSender, senders
from benchcheck.simulator.matrix import Matrix
from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.timing import habits
from benchcheck.simulator.traffic import BusTraffic

TICK_S = 0.003  # while something may be sent
IDLE_S = 0.05
TAP_ROOM = 256  # what a serial port's own buffer holds
ADAPTER_ROOM = 16384
MIN_TAPS = 2


@dataclass(slots=True)
class _CanPort:
    bus: Bus
    adapter: CanAdapter
    traffic: BusTraffic
    endpoint: Endpoint


class BenchServer:
    """Serves one simulated bench until told to stop. Use as a context manager: it closes what it opened."""

    def __init__(
        self,
        harness: Harness,
        faults: tuple[Fault, ...] = (),
        *,
        transport: str = "auto",
        seed: int = 1,
        troubles: frozenset[str] = frozenset(),
        clock: Callable[[], float] = time.monotonic,
        matrix: bool = False,
    ) -> None:
        """`matrix`: there is a switch matrix beside the hands, with a channel to each contact on either rail."""
        self._troubles = troubles
        self._clock = clock
        self._endpoints: list[Endpoint] = []
        self._transport = transport
        self._selector = selectors.DefaultSelector()
        self._watched: dict[int, Endpoint] = {}
        self._wake_end, self._waker = socket.socketpair()
        self._wake_end.setblocking(False)
        self._waker.setblocking(False)
        self._selector.register(self._wake_end, selectors.EVENT_READ)
        self._stopping = False
        try:
            self._build(harness, faults, seed)
            self.matrix = Matrix(self.model, self.meter, clock)
            self._matrix_end = self._endpoint() if matrix else None
            if self._matrix_end is not None:
                self._devices[self._matrix_end] = self.matrix.feed
            self._rewatch()
        except BaseException:
            self.close()
            raise
        self._last_s = clock()

    def _build(self, harness: Harness, faults: tuple[Fault, ...], seed: int) -> None:
        self.model = BenchModel(harness, faults, seed)
        self._devices: dict[Endpoint, Callable[[bytes], bytes]] = {}
        self._can: list[_CanPort] = []
        for bus in harness.buses:
            endpoint = self._endpoint()
            adapter = CanAdapter(endpoint.discard, self._troubles)
            self._can.append(_CanPort(bus, adapter, BusTraffic(harness, bus, faults, seed), endpoint))
            self._devices[endpoint] = adapter.feed
        self._senders: list[LineSender] = senders(harness, habits(harness, faults), faults)
        count = max(MIN_TAPS, sum(len(link.talks) for link in harness.links))
        self._taps = {f"tap{number}": self._endpoint() for number in range(1, count + 1)}
        for name, endpoint in self._taps.items():
            self._devices[endpoint] = partial(self._sent_by_tap, name)
        meter = self.meter = Meter(self.model)
        supply = BenchSupply(self.model, self._clock)
        hands = Hands(self.model, meter, tuple(self._taps), self._clock, lambda name: self._taps[name].discard())
        self._meter_end, self._supply_end, self._hands_end = self._endpoint(), self._endpoint(), self._endpoint()
        self._devices[self._meter_end] = meter.feed
        self._devices[self._supply_end] = supply.feed
        self._devices[self._hands_end] = hands.feed

    def _endpoint(self) -> Endpoint:
        endpoint = make_endpoint(self._transport)
        self._endpoints.append(endpoint)
        return endpoint

    def description(self) -> dict[str, object]:
        """The bench in the words of bench.toml."""
        matrix: dict[str, object] = {}
        if self._matrix_end is not None:
            rails = {"red": self.matrix.red, "black": self.matrix.black}
            matrix = {"matrix": {"resource": self._matrix_end.resource, **rails}}
        return {
            "name": "simulated bench",
            "simulated": True,
            "can": [{"bus": port.bus.name, "interface": "slcan", "channel": port.endpoint.port} for port in self._can],
            "serial": [{"name": name, "port": endpoint.port} for name, endpoint in self._taps.items()],
            "meter": {"resource": self._meter_end.resource},
            "supply": {"resource": self._supply_end.resource},
            "hands": {"port": self._hands_end.port},
            **matrix,
        }

    def stop(self) -> None:
        """End `run` soon; may be called from a signal handler or another thread."""
        self._stopping = True
        with contextlib.suppress(OSError):
            self._waker.send(b"x")

    def run(self) -> None:
        """Serve until `stop`."""
        while not self._stopping:
            self.turn(TICK_S if self._is_talking() else IDLE_S)

    def turn(self, wait_s: float) -> None:
        """One round: wait for a request at most `wait_s`, let the units talk, answer what has come."""
        ready = self._selector.select(wait_s)
        self._talk(self._clock())  # up to now, before any request changes who is heard
        seen: set[Endpoint] = set()
        for key, _ in ready:
            endpoint = self._watched.get(key.fd)
            if endpoint is not None and endpoint not in seen:
                seen.add(endpoint)
                self._serve(endpoint)
        for endpoint in self._endpoints:
            endpoint.flush()
        self._rewatch()

    def close(self) -> None:
        """Close every endpoint; the seat of each is gone for its clients."""
        self._selector.close()
        for endpoint in self._endpoints:
            endpoint.close()
        self._endpoints.clear()
        self._wake_end.close()
        self._waker.close()

    def __enter__(self) -> BenchServer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _is_talking(self) -> bool:
        return bool(self.model.taps) or any(port.adapter.is_open for port in self._can)

    def _serve(self, endpoint: Endpoint) -> None:
        data = endpoint.read()
        if data:
            answer = self._devices[endpoint](data)
            if answer:
                endpoint.put(answer)

    def _sent_by_tap(self, name: str, data: bytes) -> bytes:
        """What comes back to a tap of what it sends."""
        return data if self.model.comes_back(name) else b""

    def _rewatch(self) -> None:
        """Watch what the endpoints have now: clients of a socket come and go."""
        wanted = {number: endpoint for endpoint in self._endpoints for number in endpoint.filenos}
        for number in self._watched.keys() - wanted.keys():
            with contextlib.suppress(KeyError, ValueError, OSError):
                self._selector.unregister(number)
        for number in wanted.keys() - self._watched.keys():
            self._selector.register(number, selectors.EVENT_READ)
        self._watched = wanted

    def _talk(self, now: float) -> None:
        last_s, self._last_s = self._last_s, now
        since = self.model.powered_units()
        for port in self._can:
            if not port.adapter.is_open or port.adapter.bitrate != port.bus.bitrate:
                continue
            joined = self.model.hearing().on_bus(port.bus)
            frames = port.traffic.frames(last_s, now, joined, since, acknowledges=port.adapter.acknowledges)
            for line in port.adapter.lines(frames):
                if not port.endpoint.put(line, ADAPTER_ROOM):
                    port.adapter.drop()
        if self.model.taps:
            self._talk_on_lines(now, since)

    def _talk_on_lines(self, now: float, since: dict[str, float]) -> None:
        hearing = self.model.hearing()
        pieces = {
            (sender.unit, sender.contact): (sender, sender.advance(now, since.get(sender.unit)))
            for sender in self._senders
        }
        for name, tap in self.model.taps.items():
            endpoint = self._taps[name]
            for driven in hearing.at_tap(tap.contact, tap.ground):
                sender, said = pieces.get((driven.transmitter.unit, driven.transmitter.contact), (None, []))
                if sender is None:
                    continue
                baud = endpoint.baud() or tap.baud or sender.baud
                for piece in said:
                    heard = piece.heard(sender.baud, baud, sender.framing, inverted=driven.inverted)
                    if heard:
                        endpoint.put(heard, TAP_ROOM)
