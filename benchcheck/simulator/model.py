"""The simulated bench as one value: what is plugged, what is set, and what a meter or a tap would find.

Time is a value in seconds of any clock that does not go back; nothing here waits, opens or reads anything.
"""

from __future__ import annotations

import math
import random
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from benchcheck.harness.model import Feed, Harness, PartKind
from benchcheck.simulator.circuit import Network
from benchcheck.simulator.faults import Fault
from benchcheck.simulator.hearing import Hearing
from benchcheck.simulator.names import POINTS, all_contacts
from benchcheck.simulator.power import PowerSolution, Supply, base_network, solve_power
from benchcheck.simulator.timing import can_duty
from benchcheck.simulator.units import LOW_OHM, UnitCircuit, nominal_volts, plugged
from benchcheck.simulator.wiring import Resistor, Wiring, build
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import RING, SHELL, lifted, pin_of, ref_of
from benchcheck.words.errors import InputError

T = TypeVar("T")

LEAD_OHM = 0.2
OHM_MAX = 40e6
OHM_GAIN, OHM_NOISE = 0.002, 0.03  # of the reading, and ohms from touch to touch
KELVIN_MAX, KELVIN_TEST_A = 100.0, 0.1
KELVIN_GAIN, KELVIN_NOISE = 0.0005, 5e-6
VOLT_GAIN, VOLT_NOISE = 0.001, 0.005
DISTURBED_V = 0.05
TEST_A = 1e-3  # the meter's test current, which volts across the probes upset
CACHE_SIZE = 24
BRIDGE_OHM = 0.05
DROWNED_OHM = 100.0  # less than that to ground leaves no level for a receiver
SWITCHED = (PartKind.PROTECTOR, PartKind.SWITCH, PartKind.RELAY)


@dataclass(frozen=True, slots=True)
class Tap:
    """Where a serial tap's receive wire and ground touch. `baud` is None where the port itself tells."""

    contact: str = ""
    ground: str = ""
    baud: int | None = None


@dataclass(frozen=True, slots=True)
class Loop:
    """A serial tap joined to two wires: it sends into `send`, and hears at `hear`; `bridge` are two contacts joined."""

    send: str
    hear: str
    ground: str
    bridge: tuple[str, str] | None = None


class BenchModel:
    """One harness with faults on a bench.

    seed  scatter of lengths and parts, and noise of the meter; 0: none, every value exact.
          The lead resistance of 0.2 ohm is always in a reading.
    """

    def __init__(self, harness: Harness, faults: Sequence[Fault] = (), seed: int = 1) -> None:
        self.harness = harness
        self.faults = tuple(faults)
        self.seed = seed
        self.state = ALL_OPEN
        self.loads: tuple[Resistor, ...] = ()
        self.taps: dict[str, Tap] = {}
        self.loops: dict[str, Loop] = {}
        self.main_feed: Feed | None = next((feed for feed in harness.feeds if not feed.converter), None)
        source, ground = (self.main_feed.source, self.main_feed.ground) if self.main_feed else ("", "")
        self.supply = Supply(plus=source, minus=ground)
        self._since: dict[str, float] = {}
        self._contacts = all_contacts(harness)
        self._lugs = frozenset(lifted(run.wire, end) for run in harness.runs for end in run.ends)
        self._switched = frozenset(part.ref for part in harness.parts if part.kind in SWITCHED)
        self._nominal_v = nominal_volts(harness)
        self._duty = can_duty(harness, self.faults)
        self._noise = random.Random(seed)
        self._wirings: OrderedDict[object, tuple[Wiring, UnitCircuit]] = OrderedDict()
        self._dead: OrderedDict[object, Network] = OrderedDict()
        self._live: OrderedDict[object, PowerSolution] = OrderedDict()
        self._hearing: OrderedDict[object, Hearing] = OrderedDict()

    # --- what the technician and the supply do --------------------------------------------------------------

    def set_state(self, state: BenchState, now: float = 0.0) -> None:
        """Plug, lift and pull as `state` says; its supply_on is ignored. Raises InputError for unknown names."""
        state = replace(state, supply_on=False) if state.supply_on else state
        if state != self.state:
            self._check_state(state)
            self.state = state
        self._settle(now)

    def set_supply(self, volts: float, limit_a: float, on: bool, now: float = 0.0) -> None:
        """Set the bench supply, which drives the feed that no converter makes."""
        self.supply = replace(self.supply, volts=volts, limit_a=limit_a, on=on)
        self._settle(now)

    def load(self, contact: str, ground: str, amps: float, now: float = 0.0) -> None:
        """A resistor between two contacts that draws `amps` at the nominal volts there."""
        self.check_reach(contact)
        self.check_reach(ground)
        if not 0 < amps < 1000:
            raise InputError(f"a load of {amps:g} A can't be drawn", hint="Say amperes above 0.")
        nominal_v = self._nominal_v.get(contact) or self._main_v()
        self.loads = (Resistor(contact, ground, nominal_v / amps),)
        self._settle(now)

    def load_off(self, now: float = 0.0) -> None:
        """Take the load off."""
        self.loads = ()
        self._settle(now)

    def tap(self, name: str, contact: str, ground: str, baud: int | None = None) -> None:
        """Let the receive wire of tap `name` touch `contact`, its ground wire `ground`."""
        self.check_reach(contact)
        self.check_reach(ground)
        self.taps[name] = Tap(contact, ground, baud)

    def loop(self, name: str, send: str, hear: str, ground: str, bridge: tuple[str, str] | None = None) -> None:
        """Join tap `name` to two wires, and two contacts to each other."""
        for contact in (send, hear, ground, *(bridge or ())):
            self.check_reach(contact)
        self.taps.pop(name, None)
        self.loops[name] = Loop(send, hear, ground, bridge)

    def loop_off(self, name: str) -> None:
        """Take that off."""
        self.loops.pop(name, None)

    def comes_back(self, name: str) -> bool:
        """Whether what tap `name` sends arrives at its own receive wire: over wire alone, and neither of them on ground."""
        loop = self.loops.get(name)
        if loop is None or self.supply.on:
            return False
        network = self._base()
        for resistor in (*self._built()[1].bleeds, *self.loads):
            network.add_resistor(resistor.a, resistor.b, resistor.ohm)
        if loop.bridge is not None:
            network.add_resistor(*loop.bridge, BRIDGE_OHM)
        joined = network.ohms(loop.send, loop.hear) < LOW_OHM
        return joined and network.ohms(loop.hear, loop.ground) > DROWNED_OHM

    def check_reach(self, contact: str) -> None:
        """Raise InputError where a probe can't touch `contact` in this state."""
        if "@" in contact:
            if contact not in self.state.lifted:
                raise InputError(f"{contact} is not lifted", hint="Lift the run's end first.")
            return
        if contact not in self._contacts:
            raise InputError(f"no contact {contact!r} in this harness", hint="Write it as P101-4, P101-shell or GND2.")
        ref = ref_of(contact)
        if ref in self.state.plugs | self.state.coded and pin_of(contact) not in (SHELL, RING):
            raise InputError(f"{contact} can't be reached: there is a plug on {ref}", hint="Take the plug off.")
        if ref in self.state.on_unit and ref not in self.state.breakout and pin_of(contact) not in (SHELL, RING):
            raise InputError(
                f"{contact} can't be reached: {ref} is on its unit",
                hint=f"Put a breakout lead on {ref}, or take it off.",
            )

    # --- what the instruments show --------------------------------------------------------------------------

    def ohms(self, red: str, black: str) -> float:
        """The meter in ohms between two contacts: leads and noise included, infinite above 40 Mohm.

        With the supply on, or volts across the probes, a reading that means nothing.
        """
        self.check_reach(red)
        self.check_reach(black)
        value = self.true_ohms(red, black)
        if self.supply.on:
            across = self.true_volts(red, black)
            upset = across / TEST_A if abs(across) > DISTURBED_V else value * self._noise.uniform(0.2, 3.0)
            value = min(value, OHM_MAX / 2) * self._noise.uniform(0.5, 1.5) + upset
        if value > OHM_MAX:
            return math.inf
        if not self.seed:
            return value + LEAD_OHM
        gain = 1 + OHM_GAIN * self._noise.uniform(-1, 1)
        return value * gain + LEAD_OHM + OHM_NOISE * self._noise.uniform(-1, 1)

    def kelvin_ohms(self, red: str, black: str) -> float:
        """The meter in ohms with four wires: no leads in it, noise of a few microhms; infinite above 100 ohm."""
        self.check_reach(red)
        self.check_reach(black)
        value = self.true_ohms(red, black)
        if self.supply.on:
            value += self.true_volts(red, black) / KELVIN_TEST_A
        if abs(value) > KELVIN_MAX:
            return math.inf
        if not self.seed:
            return value
        return value * (1 + KELVIN_GAIN * self._noise.uniform(-1, 1)) + KELVIN_NOISE * self._noise.uniform(-1, 1)

    def volts(self, red: str, black: str) -> float:
        """The meter in DC volts between two contacts, with its 10 Mohm input and its noise."""
        self.check_reach(red)
        self.check_reach(black)
        value = self.true_volts(red, black)
        if not self.seed:
            return value
        return value * (1 + VOLT_GAIN * self._noise.uniform(-1, 1)) + VOLT_NOISE * self._noise.uniform(-1, 1)

    def true_ohms(self, red: str, black: str) -> float:
        """Resistance between two contacts with the supply off, without leads and noise; never infinite."""
        return self._dead_network().ohms(red, black)

    def true_volts(self, red: str, black: str) -> float:
        """Volts between two contacts with a meter across them, without noise."""
        solution = self._solution()
        if solution is None or red == black:
            return 0.0
        difference = solution.volts.get(red, 0.0) - solution.volts.get(black, 0.0)
        return difference * solution.network.meter_share(red, black) if difference else 0.0

    def supply_volts(self) -> float:
        """Volts at the supply's own terminals."""
        solution = self._solution()
        if solution is None:
            return self.supply.volts if self.supply.on else 0.0
        return solution.supply_v

    def supply_amps(self) -> float:
        """Amperes that the supply delivers."""
        solution = self._solution()
        return 0.0 if solution is None else solution.supply_a

    def limiting(self) -> bool:
        """Whether the supply's current limit holds the volts down."""
        solution = self._solution()
        return solution is not None and solution.limiting

    # --- who works and who is heard -------------------------------------------------------------------------

    def powered_units(self) -> dict[str, float]:
        """Unit -> since when it has been powered, as given by the `now` of the call that powered it."""
        return dict(self._since)

    def hearing(self) -> Hearing:
        """Who is joined to whom for signals, in this state."""

        def make() -> Hearing:
            wiring, units = self._built()
            return Hearing(self.harness, wiring, units, self._dead_network(), self._solution())

        return self._cached(self._hearing, (self._key(), self._supply_key()), make)

    # --- inside ---------------------------------------------------------------------------------------------

    def _main_v(self) -> float:
        return self.main_feed.nominal_v if self.main_feed else 24.0

    def _settle(self, now: float) -> None:
        """Note who has got power and who has lost it."""
        solution = self._solution()
        powered = solution.powered if solution is not None else frozenset()
        self._since = {unit: self._since.get(unit, now) for unit in sorted(powered)}

    def _key(self) -> tuple[object, ...]:
        state = self.state
        return (state.on_unit, state.lifted, state.opened, state.plugs, state.links, state.coded)

    def _supply_key(self) -> tuple[object, ...]:
        return (self.supply, self.loads)

    def _built(self) -> tuple[Wiring, UnitCircuit]:
        def make() -> tuple[Wiring, UnitCircuit]:
            state = self.state
            wiring = build(self.harness, self.faults, state=state, seed=self.seed)
            units = plugged(self.harness, wiring, state.on_unit, self.faults, self.seed)
            return replace(wiring, diodes=(*wiring.diodes, *units.diodes)), units

        return self._cached(self._wirings, self._key(), make)

    def _base(self) -> Network:
        wiring, units = self._built()
        nodes = [*sorted(self._contacts), *sorted(self.state.lifted)]
        return base_network(self.harness.chassis, nodes, wiring, units, self.supply)

    def _dead_network(self) -> Network:
        def make() -> Network:
            network = self._base()
            for resistor in (*self._built()[1].bleeds, *self.loads):
                network.add_resistor(resistor.a, resistor.b, resistor.ohm)
            return network

        return self._cached(self._dead, (self._key(), self.loads), make)

    def _solution(self) -> PowerSolution | None:
        if not self.supply.on or not self.supply.plus:
            return None

        def make() -> PowerSolution:
            wiring, units = self._built()
            return solve_power(self._base, wiring, units, self.supply, self.loads, self._duty)

        return self._cached(self._live, (self._key(), self._supply_key()), make)

    @staticmethod
    def _cached(cache: OrderedDict[object, T], key: object, make: Callable[[], T]) -> T:
        if key in cache:
            cache.move_to_end(key)
            return cache[key]
        value = make()
        cache[key] = value
        while len(cache) > CACHE_SIZE:
            cache.popitem(last=False)
        return value

    def _check_state(self, state: BenchState) -> None:
        for ref in sorted(state.on_unit | state.breakout):
            connector = self.harness.connectors.get(ref)
            if connector is None:
                raise InputError(f"no connector {ref!r} in this harness")
            if ref in state.on_unit and not connector.unit:
                raise InputError(f"{ref} has no unit to plug into")
        for ref in sorted(state.plugs | state.coded):
            connector = self.harness.connectors.get(ref)
            if connector is None or connector.family in POINTS:
                raise InputError(f"no connector {ref!r} in this harness that a plug fits")
            if ref in state.on_unit | state.breakout or ref in state.plugs & state.coded:
                raise InputError(f"{ref} can't take a plug: something else is on it")
        for contact in sorted(state.links):
            if contact not in self._contacts:
                raise InputError(f"no contact {contact!r} in this harness to join to chassis")
            if ref_of(contact) in state.on_unit - state.breakout and pin_of(contact) not in (SHELL, RING):
                raise InputError(f"{contact} can't be joined to chassis: {ref_of(contact)} is on its unit")
        for end in sorted(state.lifted):
            if end not in self._lugs:
                raise InputError(f"no run end {end!r} to lift", hint="Write it as W231@GND2.")
        for ref in sorted(state.opened):
            if ref not in self._switched:
                raise InputError(f"{ref!r} is no protector or switch of this harness")
