"""What the units put between their contacts when they are plugged: paths, loads, drivers, converters.

A unit's contact is the same node as the harness contact it is mated with; unplugged, it is a node of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from benchcheck.harness.model import Harness, Need, PathKind, Role, Unit, UnitContact
from benchcheck.harness.nets import Groups
from benchcheck.simulator.faults import ConverterOff, DeadTransmitter, Fault, FeedVolts, InvertedLevels, UnitCurrent
from benchcheck.simulator.wiring import Diode, Resistor, Wiring, scatter
from benchcheck.words.contact import SHELL, join, pin_of, ref_of

JOINT_OHM = 0.01  # inside a unit: grounds together, case to shell (common practice, no source)
LOW_OHM = 10.0  # below this two nodes count as one conductor for a signal
DEAD_INPUT_OHM = 10e3  # what a supply input shows to a meter's test volts
STANDBY_OHM = 100e3
RECEIVER_OHM = 5e3  # RS-232 receiver, middle of 3..7 kohm (TIA-232-F; TRS3221E, DS14185 datasheets)
DRIVER_OHM = 300.0  # RS-232 driver output
CAN_BIAS_OHM = 30e3  # each line to half the transceiver's supply (common practice, no source)
CONVERTER_IDLE_A = 0.02
CONVERTER_OVERLOAD = 1.5  # times the feed's limit


@dataclass(frozen=True, slots=True)
class PowerInput:
    """A supply input: the unit works when `node` against `ground` is near `nominal_v`."""

    unit: str
    node: str
    ground: str
    nominal_v: float
    needed: bool


@dataclass(frozen=True, slots=True)
class Transmitter:
    """An RS-232 driver. `contact` is the unit's own (`J1-3`); `idle_v` is its level at rest: 0 where it is dead, above 0
    where its levels are inverted."""

    unit: str
    contact: str
    node: str
    ground: str
    idle_v: float


@dataclass(frozen=True, slots=True)
class CanPort:
    """One pair of CAN contacts of a unit."""

    unit: str
    high: str
    low: str
    ground: str


@dataclass(frozen=True, slots=True)
class Converter:
    unit: str
    input: str
    output: str
    ground: str
    input_v: float
    output_v: float
    efficiency: float
    limit_a: float
    faulty: bool


@dataclass(slots=True)
class UnitCircuit:
    """Everything the plugged units add to the network.

    joints   what conducts like wire: through paths, grounds and case inside
    inputs   terminators and input resistances, there whether powered or not
    bleeds   supply inputs as a meter's small test volts see them
    loads    supply inputs as the supply sees them
    diodes   diodes inside the units
    """

    present: set[str] = field(default_factory=set)
    joints: list[Resistor] = field(default_factory=list)
    inputs: list[Resistor] = field(default_factory=list)
    bleeds: list[Resistor] = field(default_factory=list)
    loads: list[Resistor] = field(default_factory=list)
    diodes: list[Diode] = field(default_factory=list)
    power: list[PowerInput] = field(default_factory=list)
    transmitters: list[Transmitter] = field(default_factory=list)
    can: list[CanPort] = field(default_factory=list)
    converters: list[Converter] = field(default_factory=list)


def node_of(unit: Unit, contact: str, on_unit: frozenset[str]) -> str:
    """The node of the unit's own contact `J1-4`: the harness contact it is mated with, or its own."""
    connector = unit.connectors.get(ref_of(contact))
    if connector is not None and connector in on_unit:
        return join(connector, pin_of(contact))
    return f"{unit.ref}:{contact}"


def own_contact(harness: Harness, contact: str) -> tuple[str, str] | None:
    """The unit and its own contact (`J1-4`) that mates with a harness contact."""
    connector = harness.connectors.get(ref_of(contact))
    if connector is None or connector.unit not in harness.units:
        return None
    return connector.unit, join(connector.unit_connector, pin_of(contact))


def nominal_volts(harness: Harness) -> dict[str, float]:
    """Contact -> nominal volts of the feed that reaches it, by the profile, with every part closed."""
    groups: Groups[str] = Groups()
    for run in harness.runs:
        if run.b:
            groups.join(run.a, run.b)
    for part in harness.parts:
        if part.kind.value in ("protector", "switch", "relay", "diode"):
            groups.join(part.a, part.b)
    found: dict[str, float] = {}
    members = {groups.find(group[0]): group for group in groups.groups()}
    for feed in harness.feeds:
        groups.add(feed.source)
        for contact in members.get(groups.find(feed.source), [feed.source]):
            found.setdefault(contact, feed.nominal_v)
    return found


def plugged(
    harness: Harness, wiring: Wiring, on_unit: frozenset[str], faults: Sequence[Fault] = (), seed: int = 0
) -> UnitCircuit:
    """The circuit of every unit of which at least one connector is plugged."""
    circuit = UnitCircuit()
    if not on_unit:
        return circuit
    volts = nominal_volts(harness)
    bridged: Groups[str] = Groups()
    for resistor in wiring.resistors:
        if resistor.ohm < LOW_OHM:
            bridged.join(resistor.a, resistor.b)
    for unit in harness.units.values():
        if on_unit.intersection(unit.connectors.values()):
            circuit.present.add(unit.ref)
            _UnitBuilder(harness, unit, on_unit, circuit, bridged, volts, faults, seed).build()
    return circuit


class _UnitBuilder:
    def __init__(
        self,
        harness: Harness,
        unit: Unit,
        on_unit: frozenset[str],
        circuit: UnitCircuit,
        bridged: Groups[str],
        volts: dict[str, float],
        faults: Sequence[Fault],
        seed: int,
    ) -> None:
        self.harness, self.unit, self.on_unit, self.circuit = harness, unit, on_unit, circuit
        self.bridged, self.volts, self.faults, self.seed = bridged, volts, faults, seed
        self.ground = f"{unit.ref}:ground"
        self.case = f"{unit.ref}:case"
        self.factor = 1.0
        for fault in faults:
            if isinstance(fault, UnitCurrent) and fault.unit == unit.ref:
                self.factor *= fault.factor

    def node(self, contact: str) -> str:
        return node_of(self.unit, contact, self.on_unit)

    def with_role(self, *roles: Role) -> Iterable[tuple[str, UnitContact]]:
        for entry in self.unit.type.contacts:
            if entry.role in roles:
                yield join(entry.connector, entry.contact), entry

    def build(self) -> None:
        joints = self.circuit.joints
        grounds = [contact for contact, _ in self.with_role(Role.GROUND)]
        joints += [Resistor(self.node(contact), self.ground, JOINT_OHM) for contact in grounds]
        for connector in self.unit.connectors.values():
            if connector in self.on_unit and self.harness.connectors[connector].has_shell:
                joints.append(Resistor(join(connector, SHELL), self.case, JOINT_OHM))
        for path in self.unit.type.paths:
            if path.kind is PathKind.THROUGH:
                joints.append(Resistor(self.node(path.a), self.node(path.b), max(path.ohm, 1e-3)))
            elif path.kind is PathKind.CASE_GROUND:
                joints.append(Resistor(self.node(path.a), self.case, max(path.ohm, JOINT_OHM)))
                if not grounds:
                    joints.append(Resistor(self.ground, self.case, JOINT_OHM))
            elif path.kind is PathKind.INPUT or (path.kind is PathKind.TERMINATOR and self.enabled(path.enabled_by)):
                self.circuit.inputs.append(Resistor(self.node(path.a), self.node(path.b), max(path.ohm, 1e-3)))
            elif path.kind is PathKind.DIODE:
                self.circuit.diodes.append(Diode(self.node(path.a), self.node(path.b)))
        self.power_inputs()
        self.drivers()

    def enabled(self, by: tuple[str, str] | None) -> bool:
        """Whether the bridge that enables a path is there: on the harness side, so only when it is plugged."""
        return by is None or self.bridged.together(self.node(by[0]), self.node(by[1]))

    def power_inputs(self) -> None:
        paths = [path for path in self.unit.type.paths if path.kind is PathKind.CONVERTER]
        outputs, inputs = {path.b for path in paths}, {path.a for path in paths}
        wants = [entry for contact, entry in self.with_role(Role.POWER) if contact not in outputs]
        wants = [entry for entry in wants if entry.need is Need.NEEDED] or wants
        wants = [entry for entry in wants if entry.load_a > 0] or wants
        for contact, entry in self.with_role(Role.POWER):
            node, nominal_v = self.node(contact), self.nominal(contact, entry)
            if contact in outputs or not nominal_v:
                continue
            load_a = max(entry.load_a, CONVERTER_IDLE_A if contact in inputs else 0.0) * self.factor
            load_ohm = nominal_v / load_a if load_a > 0 else STANDBY_OHM
            self.circuit.bleeds.append(Resistor(node, self.ground, max(DEAD_INPUT_OHM, load_ohm)))
            self.circuit.loads.append(Resistor(node, self.ground, load_ohm))
            self.circuit.power.append(PowerInput(self.unit.ref, node, self.ground, nominal_v, entry in wants))
        off = any(isinstance(fault, ConverterOff) and fault.unit == self.unit.ref for fault in self.faults)
        for path in paths:
            made = self.made_feed(path.b)
            self.circuit.converters.append(
                Converter(
                    self.unit.ref,
                    self.node(path.a),
                    self.node(path.b),
                    self.ground,
                    self.nominal_of(path.a),
                    made[0],
                    path.efficiency or 0.9,
                    made[1],
                    off,
                )
            )

    def nominal(self, contact: str, entry: UnitContact) -> float:
        """The volts a contact wants: the unit file says, else the feed that reaches it by the profile."""
        if entry.feed_v is not None:
            return entry.feed_v
        connector = self.unit.connectors.get(entry.connector, "")
        return self.volts.get(join(connector, entry.contact), 0.0)

    def nominal_of(self, contact: str) -> float:
        entry = self.unit.type.contact(ref_of(contact), pin_of(contact))
        return self.nominal(contact, entry) if entry is not None else 0.0

    def made_feed(self, output: str) -> tuple[float, float]:
        """Volts that the converter is set to, and the current limit of the feed it makes."""
        seat = join(self.unit.connectors.get(ref_of(output), ""), pin_of(output))
        made = [feed for feed in self.harness.feeds if feed.converter == self.unit.ref]
        feed = next((entry for entry in made if entry.source == seat), made[0] if made else None)
        if feed is None:
            return self.nominal_of(output), 5.0
        for fault in self.faults:
            if isinstance(fault, FeedVolts) and fault.feed == feed.name:
                return fault.volts, feed.limit_a
        return feed.nominal_v, feed.limit_a

    def drivers(self) -> None:
        wired_inputs = {end for path in self.unit.type.paths if path.kind is PathKind.INPUT for end in (path.a, path.b)}
        dead = {own_contact(self.harness, f.contact) for f in self.faults if isinstance(f, DeadTransmitter)}
        inverted = {own_contact(self.harness, f.contact) for f in self.faults if isinstance(f, InvertedLevels)}
        for contact, _ in self.with_role(Role.RS232_RX):
            if contact not in wired_inputs:
                self.circuit.inputs.append(Resistor(self.node(contact), self.ground, RECEIVER_OHM))
        for contact, _ in self.with_role(Role.RS232_TX):
            mark_v = -7.5 + 1.5 * scatter(self.seed or 1, f"{self.unit.ref}:{contact}")
            idle_v = 0.0 if (self.unit.ref, contact) in dead else mark_v
            idle_v = -idle_v if (self.unit.ref, contact) in inverted else idle_v
            self.circuit.transmitters.append(
                Transmitter(self.unit.ref, contact, self.node(contact), self.ground, idle_v)
            )
        highs = [contact for contact, _ in self.with_role(Role.CAN_H)]
        lows = [contact for contact, _ in self.with_role(Role.CAN_L)]
        for high, low in zip(highs, lows, strict=False):
            self.circuit.can.append(CanPort(self.unit.ref, self.node(high), self.node(low), self.ground))
