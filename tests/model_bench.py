"""A bench in this process: the simulator's model behind the drivers' faces, on a clock that only moves when told.

No process, no port, no waiting: a whole job runs in well under a second. What goes over real ports is tested
with the demo and with the drivers' own tests.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from benchcheck.bench.clock import FakeClock
from benchcheck.bench.lines.serial_line import HeardBytes
from benchcheck.bench.link import Outage
from benchcheck.checks.kind import Context
from benchcheck.harness.model import Bus, Harness
from benchcheck.jobs.listening.capture_sink import CaptureSink
from benchcheck.jobs.operator import SimulatedOperator
from benchcheck.jobs.runner import Runner
from benchcheck.plan.plan import Plan, make_plan
from benchcheck.profile.load import load_profile
from benchcheck.readiness.board import Board
from benchcheck.simulator.faults import Fault
from benchcheck.simulator.lines import senders
from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.timing import habits
from benchcheck.simulator.traffic import BusTraffic
from benchcheck.words.bench_state import BenchState
from benchcheck.words.errors import InputError, SetupError
from benchcheck.words.event import Event
from benchcheck.words.frames import FrameBatch, FrameFlag
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.step import Stage

PROFILES = Path(__file__).parents[1] / "profiles"
ALL_STAGES = (Stage.DEAD, Stage.POWER, Stage.LIVE)


@cache
def shipped(name: str) -> tuple[Harness, Plan, Context]:
    """A profile that comes along, its plan, and the context of both; made once."""
    harness = load_profile(PROFILES / name)
    return harness, make_plan(harness, MeterSpec()), Context(harness, MeterSpec())


class MemoryRecord:
    """The part of a job record that a run uses, in memory."""

    def __init__(self) -> None:
        self._events: list[Event] = []

    def append(self, kind: str, body: Mapping[str, object], *, who: str, profile: str = "") -> Event:
        event = Event(len(self._events) + 1, "c", str(kind), who, "", 0, "", profile, dict(body), "", "")
        self._events.append(event)
        return event

    def events(self) -> list[Event]:
        return list(self._events)

    def bodies(self, kind: str) -> list[Mapping[str, object]]:
        return [event.body for event in self._events if event.kind == kind]


class ModelBench:
    """What the runner takes for a Bench. `log` has every move in order, as a person at the bench would tell it.

    hook   called with the name of each device that is used, before it answers; may raise what a real one would
    """

    def __init__(
        self,
        harness: Harness,
        faults: Sequence[Fault] = (),
        *,
        seed: int = 1,
        hook: Callable[[str], None] | None = None,
        meter: MeterSpec | None = None,
    ) -> None:
        self.model = BenchModel(harness, tuple(faults), seed)
        self.clock = FakeClock()
        self.log: list[str] = []
        self._hook = hook
        self.config = SimpleNamespace(supply="supply", leads=())
        self.meter = _Meter(self, meter or MeterSpec())
        self.supply = _Supply(self)
        self.hands = _Hands(self)
        self.taps = ("tap1",)
        self.buses = tuple(bus.name for bus in harness.buses)
        self._can = {bus.name: _Can(self, bus, tuple(faults), seed) for bus in harness.buses}
        self._line = _Line(self, harness, tuple(faults))

    @property
    def now_s(self) -> float:
        return self.clock.monotonic_ns() / 1e9

    def use(self, device: str, what: str = "") -> None:
        if self._hook is not None:
            self._hook(device)
        if what:
            self.log.append(what)

    def can(self, name: str, bitrate: int, *, acknowledge: bool = False, fd: bool = False) -> _Can:
        self.use("can")
        self._can[name].acknowledge = acknowledge
        return self._can[name]

    def line(self, name: str, baud: int, framing: str) -> _Line:
        self.use("line")
        self._line.baud, self._line.framing = baud, framing
        return self._line

    @contextmanager
    def loop_line(self, name: str, baud: int, framing: str) -> Iterator[_LoopLine]:
        self.use("line", f"sending on {name}")
        yield _LoopLine(self, name)

    def identities(self) -> dict[str, str]:
        return {"bench": "model"}

    def passive(self) -> dict[str, str]:
        return dict.fromkeys(self._can, "model")


class _Meter:
    identity = "model meter"

    def __init__(self, bench: ModelBench, spec: MeterSpec) -> None:
        self._bench = bench
        self.spec = spec
        self.probes: tuple[str, str] | None = None

    def ohms(self) -> Reading:
        self._bench.use("meter", "ohms")
        assert self.probes is not None
        value = self._bench.model.ohms(*self.probes)
        if value > self.spec.ohm_max:
            return Reading(ReadingState.OVER, "ohm", over_above=self.spec.ohm_max, instrument=self.identity)
        return Reading(ReadingState.VALUE, "ohm", value, self.spec.ohm_uncertainty(value), instrument=self.identity)

    def kelvin_ohms(self) -> Reading:
        self._bench.use("meter", "kelvin ohms")
        assert self.probes is not None
        value = self._bench.model.kelvin_ohms(*self.probes)
        if math.isinf(value):
            return Reading(ReadingState.OVER, "ohm", over_above=100.0, instrument=self.identity, detail={"wires": 4})
        blur = self.spec.four_wire_uncertainty(value)
        return Reading(ReadingState.VALUE, "ohm", value, blur, instrument=self.identity, detail={"wires": 4})

    def volts(self) -> Reading:
        self._bench.use("meter", "volts")
        assert self.probes is not None
        value = self._bench.model.volts(*self.probes)
        return Reading(ReadingState.VALUE, "V", value, self.spec.volt_uncertainty(value), instrument=self.identity)


class _Supply:
    def __init__(self, bench: ModelBench) -> None:
        self._bench = bench
        self.limits_a: list[float] = []

    def set(self, volts: float, limit_a: float) -> None:
        model = self._bench.model
        self.limits_a.append(limit_a)
        model.set_supply(volts, limit_a, model.supply.on, self._bench.now_s)

    def cut_off(self) -> str:
        return ""

    def on(self, *, ramp: bool = False) -> None:
        self._bench.use("supply", "supply on")
        supply = self._bench.model.supply
        self._bench.model.set_supply(supply.volts, supply.limit_a, True, self._bench.now_s)

    def off(self) -> None:
        # off always works here: what must hold is that it is asked for
        self._bench.log.append("supply off")
        supply = self._bench.model.supply
        self._bench.model.set_supply(supply.volts, supply.limit_a, False, self._bench.now_s)

    def amps(self) -> Reading:
        self._bench.use("supply")
        value = self._bench.model.supply_amps()
        return Reading(ReadingState.VALUE, "A", value, MeterSpec().amp_uncertainty(value), instrument="model supply")


class _Hands:
    """The face of bench.hands.Hands; moving things takes a second."""

    def __init__(self, bench: ModelBench) -> None:
        self._bench = bench

    def bring_to(self, state: BenchState) -> None:
        self._bench.use("hands", f"state {sorted(state.on_unit)}")
        assert not self._bench.model.supply.on, "something was moved with the supply on"
        self._bench.clock.advance(1.0)
        self._bench.model.set_state(state, self._bench.now_s)
        self._bench.meter.probes = None

    def touch(self, red: str, black: str) -> None:
        self._bench.use("hands", f"touch {red} {black}")
        for contact in (red, black):
            try:
                self._bench.model.check_reach(contact)
            except InputError as error:  # the real hands' answer to such a move
                raise SetupError(error.text) from error
        self._bench.meter.probes = (red, black)

    def load(self, contact: str, ground: str, amps: float) -> None:
        self._bench.model.load(contact, ground, amps, self._bench.now_s)

    def unload(self) -> None:
        self._bench.model.load_off(self._bench.now_s)

    def tap(self, name: str, contact: str, ground: str, baud: int | None = None) -> None:
        self._bench.model.tap(name, contact, ground, baud)

    def loop(self, name: str, send: str, hear: str, ground: str, bridge: tuple[str, str] | None = None) -> None:
        self._bench.log.append(f"loop {name} {send} {hear} {bridge}")
        self._bench.model.loop(name, send, hear, ground, bridge)

    def loop_off(self, name: str) -> None:
        self._bench.model.loop_off(name)


class Counts(SimpleNamespace):
    """As can_adapter.AdapterCounts, but a test may change it."""

    @property
    def lost(self) -> int:
        return int(self.dropped + self.garbled)


class _LoopLine:
    identity, state = "model serial port", "listening"

    def __init__(self, bench: ModelBench, name: str) -> None:
        self._bench, self._name = bench, name
        self._back = b""

    def send(self, data: bytes) -> None:
        self._back += data if self._bench.model.comes_back(self._name) else b""

    def drain(self) -> list[HeardBytes]:
        data, self._back = self._back, b""
        return [HeardBytes(self._bench.clock.stamp_ns(), data)] if data else []


class _Can:
    identity = "model adapter"
    error_frames_reported = False
    passive = SimpleNamespace(sentence="it is a model", state="by the adapter's word")
    controller = "not reported by this adapter"
    controller_errors = None
    lossy_since_ns = None
    state = "listening"
    outages: tuple[Outage, ...] = ()

    def __init__(self, bench: ModelBench, bus: Bus, faults: Sequence[Fault], seed: int) -> None:
        self._bench = bench
        self._bus = bus
        self._traffic = BusTraffic(bench.model.harness, bus, faults, seed)
        self._last_s = bench.now_s
        self.acknowledge = False
        self.counts = Counts(frames=0, dropped=0, garbled=0)

    def drain(self) -> FrameBatch:
        model, now_s = self._bench.model, self._bench.now_s
        frames = self._traffic.frames(
            self._last_s,
            now_s,
            model.hearing().on_bus(self._bus),
            model.powered_units(),
            acknowledges=self.acknowledge,
        )
        self._last_s = now_s
        offset_ns = self._bench.clock.stamp_ns() - self._bench.clock.monotonic_ns()
        data = np.zeros((len(frames), 8), np.uint8)
        for row, frame in zip(data, frames, strict=True):
            row[: len(frame.data)] = list(frame.data)
        return FrameBatch(
            np.array([round(f.at_s * 1e9) + offset_ns for f in frames], np.int64),
            np.zeros(len(frames), np.uint16),
            np.array([f.can_id for f in frames], np.uint32),
            np.array([FrameFlag.EXTENDED if f.extended else 0 for f in frames], np.uint16),
            np.array([len(f.data) for f in frames], np.uint8),
            data,
        )


class _Line:
    identity = "model serial port"
    state = "listening"

    def __init__(self, bench: ModelBench, harness: Harness, faults: Sequence[Fault]) -> None:
        self._bench = bench
        self._senders = senders(harness, habits(harness, faults), faults)
        self.baud, self.framing = 4800, "8N1"

    def set_speed(self, baud: int, framing: str = "8N1") -> None:
        self.baud, self.framing = baud, framing

    def drain(self) -> list[HeardBytes]:
        model, now_s = self._bench.model, self._bench.now_s
        since = model.powered_units()
        said = {(s.unit, s.contact): (s, s.advance(now_s, since.get(s.unit))) for s in self._senders}
        tap = model.taps.get("tap1")
        heard = b""
        for driven in model.hearing().at_tap(tap.contact, tap.ground) if tap else ():
            sender, pieces = said.get((driven.transmitter.unit, driven.transmitter.contact), (None, []))
            for piece in pieces if sender is not None else ():
                heard += piece.heard(sender.baud, self.baud, sender.framing, inverted=driven.inverted)
        return [HeardBytes(self._bench.clock.stamp_ns(), heard)] if heard else []


@dataclasses.dataclass
class Job:
    """A job on a model bench, with everything at hand."""

    bench: ModelBench
    record: MemoryRecord
    runner: Runner
    said: list[str]

    def run(self, stages: Iterable[Stage] = ALL_STAGES) -> Board:
        for stage in stages:
            self.runner.run(stage)
        return self.runner.board

    @property
    def squawks(self) -> list[tuple[str, tuple[str, ...]]]:
        return [(squawk.kind.value, squawk.where) for squawk in self.runner.board.squawks]

    def rework(self, *faults: Fault) -> Job:
        """The same job on the same bench after somebody has worked on it: these faults are left."""
        return job_on(self.runner.harness, self.runner.plan, self.runner._context, faults, record=self.record)


def job_on(
    harness: Harness,
    plan: Plan,
    context: Context,
    faults: Sequence[Fault] = (),
    *,
    record: MemoryRecord | None = None,
    hook: Callable[[str], None] | None = None,
    seed: int = 1,
    meter: MeterSpec | None = None,
    capture: CaptureSink | None = None,
    acknowledge: bool = True,
    transmit: bool = False,
    bench_harness: Harness | None = None,
) -> Job:
    """`bench_harness`: what is really on the bench, where the profile under test says other things of it."""
    bench = ModelBench(bench_harness or harness, faults, seed=seed, hook=hook, meter=meter)
    record = record if record is not None else MemoryRecord()
    said: list[str] = []
    runner = Runner(
        harness,
        plan,
        context,
        bench,  # type: ignore[arg-type]
        SimulatedOperator(bench.hands),  # type: ignore[arg-type]
        record,  # type: ignore[arg-type]
        who="test",
        progress=said.append,
        acknowledge=acknowledge,
        transmit=transmit,
        capture=capture,
    )
    return Job(bench, record, runner, said)


def job(profile: str, *faults: Fault, hook: Callable[[str], None] | None = None, seed: int = 1) -> Job:
    """A new job on a profile that comes along, with these faults planted."""
    return job_on(*shipped(profile), faults, hook=hook, seed=seed)
