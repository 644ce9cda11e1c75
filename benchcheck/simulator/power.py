"""The powered bench: supply with a limit, converters, diodes, drivers; gone round until it stands still."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from benchcheck.simulator.circuit import Network, Source
from benchcheck.simulator.units import CAN_BIAS_OHM, CONVERTER_OVERLOAD, DRIVER_OHM, CanPort, Converter, UnitCircuit
from benchcheck.simulator.wiring import Diode, Resistor, Wiring

SOURCE_OHM = 0.005  # output resistance of the supply and of a converter, at its terminals
DIODE_V, DIODE_OHM = 0.7, 0.05
CONVERTER_START = 0.70  # of the nominal input
UNIT_START = 0.75
CAN_RECESSIVE_V = 2.5
CAN_DOMINANT_V = 2.0  # differential, dominant, nominal (TI TCAN1044 and others: 1.5 to 3.0 V)
CAN_DRIVER_A = 0.07  # what a driver gives into a short
ROUNDS = 40


@dataclass(frozen=True, slots=True)
class Supply:
    """The bench supply as it is set; it drives `plus` against `minus`."""

    volts: float = 0.0
    limit_a: float = 1.0
    on: bool = False
    plus: str = ""
    minus: str = ""


@dataclass(slots=True)
class PowerState:
    """What is found by going round: who is on, who has given up, and the currents that depend on volts."""

    limiting: bool = False
    running: frozenset[str] = frozenset()  # converters, by their output node
    tripped: frozenset[str] = frozenset()
    powered: frozenset[str] = frozenset()
    conducting: frozenset[int] = frozenset()  # diodes, by number
    drawn_a: dict[str, float] = field(default_factory=dict)  # converter output node -> input amperes


@dataclass(frozen=True, slots=True)
class PowerSolution:
    network: Network
    volts: Mapping[str, float]
    powered: frozenset[str]
    running: frozenset[str]
    supply_v: float
    supply_a: float
    limiting: bool


def base_network(ground: str, nodes: Sequence[str], wiring: Wiring, units: UnitCircuit, supply: Supply) -> Network:
    """Everything that conducts alike whether powered or not."""
    network = Network(ground)
    for name in nodes:
        network.add_node(name)
    _add(network, wiring.resistors, units.joints, units.inputs)
    for transmitter in units.transmitters:
        network.add_node(transmitter.node)
        network.add_node(transmitter.ground)
    for port in units.can:
        for name in (port.high, port.low, port.ground):
            network.add_node(name)
    for converter in units.converters:
        for name in (converter.input, converter.output, converter.ground):
            network.add_node(name)
    for diode in wiring.diodes:
        network.add_node(diode.anode)
        network.add_node(diode.cathode)
    if supply.plus:
        network.add_node(supply.plus)
        network.add_node(supply.minus)
    return network


def solve_power(
    make_base: Callable[[], Network],
    wiring: Wiring,
    units: UnitCircuit,
    supply: Supply,
    extra: Sequence[Resistor],
    can_duty: Mapping[str, float],
) -> PowerSolution:
    """Volts everywhere with the supply on.

    make_base  makes the network of what always conducts (base_network)
    extra      loads that the technician drew
    can_duty   unit -> the part of the time for which it drives its bus dominant
    """
    state = PowerState()
    built: tuple[object, ...] | None = None
    network = Network(supply.minus)
    for turn in range(ROUNDS):
        shape = (state.limiting, state.running, state.powered, state.conducting)
        if shape != built:
            network = _network(make_base(), wiring, units, supply, extra, state)
            built = shape
        volts = network.potentials(_sources(wiring, units, supply, state))
        following = _follow(volts, wiring, units, supply, state, settle=turn > ROUNDS // 2)
        settled = _same(state, following)
        state = following
        if settled:
            break
    sources = _sources(wiring, units, supply, state)
    network.potentials(sources, keep=True)
    ports = [port for port in units.can if port.unit in state.powered]
    for port in ports:
        of_unit = sum(other.unit == port.unit for other in ports)
        sources += _busy(network, port, can_duty.get(port.unit, 0.0) / of_unit)
    volts = network.potentials(sources)
    supply_v = volts[supply.plus] - volts[supply.minus]
    supply_a = supply.limit_a if state.limiting else (supply.volts - supply_v) / SOURCE_OHM
    return PowerSolution(network, volts, state.powered, state.running, supply_v, supply_a, state.limiting)


def _add(network: Network, *groups: Sequence[Resistor]) -> None:
    for group in groups:
        for resistor in group:
            network.add_resistor(resistor.a, resistor.b, resistor.ohm)


def _network(
    network: Network, wiring: Wiring, units: UnitCircuit, supply: Supply, extra: Sequence[Resistor], state: PowerState
) -> Network:
    _add(network, units.loads, extra)
    if not state.limiting:
        network.add_resistor(supply.plus, supply.minus, SOURCE_OHM)
    for converter in units.converters:
        if converter.output in state.running:
            network.add_resistor(converter.output, converter.ground, SOURCE_OHM)
    for number in state.conducting:
        diode = wiring.diodes[number]
        network.add_resistor(diode.anode, diode.cathode, DIODE_OHM)
    for transmitter in units.transmitters:
        if transmitter.unit in state.powered:
            network.add_resistor(transmitter.node, transmitter.ground, DRIVER_OHM)
    for port in units.can:
        if port.unit in state.powered:
            network.add_resistor(port.high, port.ground, CAN_BIAS_OHM)
            network.add_resistor(port.low, port.ground, CAN_BIAS_OHM)
    return network


def _sources(wiring: Wiring, units: UnitCircuit, supply: Supply, state: PowerState) -> list[Source]:
    amps = supply.limit_a if state.limiting else supply.volts / SOURCE_OHM
    sources = [Source(supply.plus, supply.minus, amps)]
    for converter in units.converters:
        if converter.output in state.running:
            sources.append(Source(converter.output, converter.ground, converter.output_v / SOURCE_OHM))
            sources.append(Source(converter.ground, converter.input, state.drawn_a.get(converter.output, 0.0)))
    for number in state.conducting:
        diode = wiring.diodes[number]
        sources.append(Source(diode.anode, diode.cathode, DIODE_V / DIODE_OHM))
    for transmitter in units.transmitters:
        if transmitter.unit in state.powered and transmitter.idle_v:
            sources.append(Source(transmitter.node, transmitter.ground, transmitter.idle_v / DRIVER_OHM))
    for port in units.can:
        if port.unit in state.powered:
            sources.append(Source(port.high, port.ground, CAN_RECESSIVE_V / CAN_BIAS_OHM))
            sources.append(Source(port.low, port.ground, CAN_RECESSIVE_V / CAN_BIAS_OHM))
    return sources


def _follow(
    volts: Mapping[str, float], wiring: Wiring, units: UnitCircuit, supply: Supply, state: PowerState, *, settle: bool
) -> PowerState:
    """The state that these volts lead to. With `settle`, nothing that went off comes on again."""
    after = PowerState(tripped=state.tripped)
    across = volts[supply.plus] - volts[supply.minus]
    if state.limiting:
        after.limiting = settle or across < supply.volts
    else:
        after.limiting = (supply.volts - across) / SOURCE_OHM > supply.limit_a
    running: set[str] = set()
    for converter in units.converters:
        if _runs(converter, volts, state):
            running.add(converter.output)
        elif converter.output in state.running:
            after.tripped |= {converter.output}
    after.running = frozenset(running)
    for converter in units.converters:
        if converter.output in after.running:
            after.drawn_a[converter.output] = _drawn_a(converter, volts, state)
    after.powered = _powered(volts, units)
    if settle:
        after.powered &= state.powered
    after.conducting = frozenset(
        number for number, diode in enumerate(wiring.diodes) if _conducts(diode, volts, number in state.conducting)
    )
    return after


def _runs(converter: Converter, volts: Mapping[str, float], state: PowerState) -> bool:
    if converter.faulty or converter.output in state.tripped:
        return False
    input_v = volts[converter.input] - volts[converter.ground]
    return input_v > CONVERTER_START * converter.input_v and (
        _output_a(converter, volts, state) < CONVERTER_OVERLOAD * converter.limit_a
    )


def _output_a(converter: Converter, volts: Mapping[str, float], state: PowerState) -> float:
    if converter.output not in state.running:
        return 0.0
    return (converter.output_v - (volts[converter.output] - volts[converter.ground])) / SOURCE_OHM


def _drawn_a(converter: Converter, volts: Mapping[str, float], state: PowerState) -> float:
    """Vout * Iout / (efficiency * Vin)."""
    input_v = volts[converter.input] - volts[converter.ground]
    output_w = max(converter.output_v * _output_a(converter, volts, state), 0.0)
    return output_w / (converter.efficiency * input_v) if input_v > 0 else 0.0


def _powered(volts: Mapping[str, float], units: UnitCircuit) -> frozenset[str]:
    """Units whose supply inputs see enough: of every voltage they need, at least one input.

    A unit without any supply input lives on its own battery.
    """
    needs: dict[str, dict[float, bool]] = {unit: {} for unit in units.present}
    for entry in units.power:
        if entry.needed:
            good = volts[entry.node] - volts[entry.ground] >= UNIT_START * entry.nominal_v
            wanted = needs[entry.unit]
            wanted[entry.nominal_v] = wanted.get(entry.nominal_v, False) or good
    return frozenset(unit for unit, wanted in needs.items() if all(wanted.values()))


def _conducts(diode: Diode, volts: Mapping[str, float], before: bool) -> bool:
    across = volts[diode.anode] - volts[diode.cathode]
    return across > DIODE_V - (1e-9 if before else 0.0)


def _busy(network: Network, port: CanPort, part: float) -> list[Source]:
    """What a meter that averages sees of a unit's frames: CAN-H a little up, CAN-L a little down."""
    if not part or not network.together(port.high, port.low):
        return []
    bus_ohm = network.ohms(port.high, port.low)
    return [Source(port.high, port.low, part * min(CAN_DOMINANT_V / max(bus_ohm, 1e-3), CAN_DRIVER_A))]


def _same(one: PowerState, other: PowerState) -> bool:
    if (one.limiting, one.running, one.tripped, one.powered, one.conducting) != (
        other.limiting,
        other.running,
        other.tripped,
        other.powered,
        other.conducting,
    ):
        return False
    drawn = one.drawn_a.keys() | other.drawn_a.keys()
    return all(abs(one.drawn_a.get(key, 0.0) - other.drawn_a.get(key, 0.0)) < 1e-4 for key in drawn)
