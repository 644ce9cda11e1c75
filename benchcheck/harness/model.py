"""The harness under test, as the profile describes it: plain frozen values, nothing computed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from benchcheck.harness.bus_source import BusSource
from benchcheck.harness.line_protocol import TextProtocol
from benchcheck.words.contact import join, pin_of, ref_of
from benchcheck.words.errors import Place
from benchcheck.words.signal import Signal


class Role(StrEnum):
    """What a conductor is for, seen from the unit at its `from` end."""

    POWER = "power"
    GROUND = "ground"
    SIGNAL = "signal"
    CAN_H = "can_h"
    CAN_L = "can_l"
    RS232_TX = "rs232_tx"
    RS232_RX = "rs232_rx"
    SHIELD = "shield"
    BRIDGE = "bridge"
    COAX = "coax"


class RunState(StrEnum):
    PLANNED = "planned"
    WIRED = "wired"
    PROVED = "proved"


class Gender(StrEnum):
    PIN = "pin"
    SOCKET = "socket"
    NONE = "none"  # studs and splices


class Need(StrEnum):
    NEEDED = "needed"
    OPTIONAL = "optional"
    UNUSED = "unused"


@dataclass(frozen=True, slots=True)
class Run:
    """One conductor between two contacts. `b` is empty for a shield that floats at that end."""

    wire: str
    a: str
    b: str
    role: Role
    awg: int | None = None
    length_m: float | None = None
    cable: str = ""
    shield: str = ""  # the name (wire) of the shield around this core
    colour: str = ""
    note: str = ""
    state: RunState = RunState.WIRED
    place: Place = Place("pins.csv")

    @property
    def ends(self) -> tuple[str, ...]:
        return (self.a, self.b) if self.b else (self.a,)


class Drained(StrEnum):
    """At which of its ends a cable's shield is to be tied to ground."""

    ONE_END = "one_end"
    BOTH_ENDS = "both_ends"


@dataclass(frozen=True, slots=True)
class Cable:
    """What the profile says of a cable, beside the runs in it.

    drained        where its shield is tied; None where the profile leaves it open
    sensitive      whether it carries interference-sensitive circuits, for which the limits are tighter
    unshielded_mm  the longest piece at an end where the cores leave the shield
    drain_mm       the longest drain lead
    insulation_c   temperature rating of its wires; None: that of the harness
    """

    name: str
    drained: Drained | None = None
    sensitive: bool = False
    unshielded_mm: float | None = None
    drain_mm: float | None = None
    insulation_c: int | None = None
    place: Place = Place("harness.toml")


@dataclass(frozen=True, slots=True)
class Connector:
    """A harness connector, stud or splice.

    contacts  names in the family's order, without shell and ring
    rows      the same names row by row as seen on the mating face (for neighbours)
    unit      reference of the unit it plugs into, empty where none (studs, splices, panel connectors)
    unit_connector  the unit's own name for the mating half (`J1`)
    doubles   contacts in which two conductors are declared
    has_shell whether `REF-shell` and `REF-ring` exist
    contact_size   size of its contacts (`20`, `22D`), empty where it is not known
    contact_sizes  contact -> size, where it differs from that
    places    contact -> (x, y) in millimetres on the mating face, where the profile gives coordinates
    """

    ref: str
    family: str
    gender: Gender
    contacts: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    unit: str = ""
    unit_connector: str = ""
    zone: str = ""
    doubles: frozenset[str] = frozenset()
    has_shell: bool = True
    contact_size: str = ""
    contact_sizes: Mapping[str, str] = field(default_factory=dict)
    places: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    place: Place = Place("harness.toml")

    def size_of(self, pin: str) -> str:
        """The size of a contact; empty where it is not known."""
        return self.contact_sizes.get(pin, self.contact_size)


class PartKind(StrEnum):
    PROTECTOR = "protector"
    SWITCH = "switch"
    RELAY = "relay"
    RESISTOR = "resistor"
    DIODE = "diode"
    TERMINATOR = "terminator"

    @property
    def conducts_at_rest(self) -> bool:
        """Whether a meter finds a way through it on a dead bench: protectors in, switches on, no coil powered.

        A relay part is its make contact: open until its coil has power. A diode needs more volts than a meter in ohms
        may give it. The one place that says so: the circuit, the paper review and the simulator all ask here.
        """
        return self not in (PartKind.RELAY, PartKind.DIODE)


@dataclass(frozen=True, slots=True)
class Part:
    """What sits between two contacts besides wire. A protector or switch is closed unless the state says so."""

    ref: str
    kind: PartKind
    a: str
    b: str
    ohm: float = 0.0
    tolerance_percent: float = 10.0
    rating_a: float | None = None
    place: Place = Place("harness.toml")


@dataclass(frozen=True, slots=True)
class UnitContact:
    """One contact of a unit type: `connector` and `contact` in the unit's own names."""

    connector: str
    contact: str
    name: str
    role: Role
    need: Need = Need.NEEDED
    feed_v: float | None = None  # nominal volts it wants; for a converter's output, what it gives
    load_a: float = 0.0  # what it draws; 0 on grounds and signals
    protocol: str = ""


class PathKind(StrEnum):
    """What a unit connects inside, as the bench sees it."""

    THROUGH = "through"  # two contacts joined inside (a CAN pair in and out)
    TERMINATOR = "terminator"  # a resistor between two contacts
    INPUT = "input"  # input resistance between two contacts
    CASE_GROUND = "case_ground"  # a contact joined to the case
    CONVERTER = "converter"  # input contact a, output contact b
    DIODE = "diode"  # anode a, cathode b: a meter in ohms may or may not see it


@dataclass(frozen=True, slots=True)
class UnitPath:
    """`a` and `b` are the unit's contacts as `J1-4`."""

    kind: PathKind
    a: str
    b: str = ""
    ohm: float = 0.0
    enabled_by: tuple[str, str] | None = None  # a bridge between these two contacts enables it
    efficiency: float | None = None
    farad: float = 0.0  # an input's capacitance: a meter in ohms charges it, and the reading climbs


@dataclass(frozen=True)
class UnitType:
    name: str
    title: str
    connectors: Mapping[str, tuple[str, Gender]]  # own name -> (family, gender)
    contacts: tuple[UnitContact, ...]
    paths: tuple[UnitPath, ...] = ()
    boot_s: float = 2.0  # from power on to the first message, at most
    place: Place = Place("unit")

    @cached_property
    def _by_contact(self) -> Mapping[tuple[str, str], UnitContact]:
        return {(entry.connector, entry.contact): entry for entry in reversed(self.contacts)}

    def contact(self, connector: str, contact: str) -> UnitContact | None:
        return self._by_contact.get((connector, contact))


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of the bench: its type and the harness connectors that plug into it."""

    ref: str
    type: UnitType
    title: str
    connectors: Mapping[str, str]  # unit's own connector name -> harness connector
    node: str = ""  # its name as a sender in the message database
    place: Place = Place("harness.toml")

    def mate(self, own: str) -> str:
        """The harness contact that mates with the unit's own contact `J1-4`; empty where no connector does."""
        name, _, pin = own.partition("-")
        ref = self.connectors.get(name)
        return join(ref, pin) if ref else ""


@dataclass(frozen=True, slots=True)
class Feed:
    """A supply. `source` and `ground` are the contacts where it enters the harness.

    converter is the unit whose output it is; empty for the one that the bench supply drives.
    """

    name: str
    nominal_v: float
    tolerance_percent: float
    source: str
    ground: str
    converter: str = ""
    limit_a: float = 5.0
    place: Place = Place("harness.toml")


@dataclass(frozen=True, slots=True)
class Message:
    """One message that is expected on a bus."""

    can_id: int
    extended: bool
    name: str
    sender: str  # unit reference
    period_s: float | None
    length: int = 8
    signals: tuple[Signal, ...] = ()


@dataclass(frozen=True, slots=True)
class Bus:
    """A CAN bus: its nodes (unit references) in cable order, and where the adapter is joined.

    messages      what the message database knows, with the units that send it
    sources       what units are told by beside that, or instead
    data_bitrate  bit/s of the second part of FD frames that switch to it; None where there are none
    """

    name: str
    bitrate: int
    nodes: tuple[str, ...]
    adapter_at: str  # connector at which the CAN adapter is joined
    messages: tuple[Message, ...] = ()
    max_load_percent: float = 50.0
    max_stub_m: float | None = None  # longest branch; None: what the bit rate allows
    place: Place = Place("harness.toml")
    sources: tuple[BusSource, ...] = ()
    data_bitrate: int | None = None

    @property
    def talkers(self) -> frozenset[str]:
        """Units of which something is known that they send."""
        senders = {message.sender for message in self.messages} | {source.unit for source in self.sources}
        return frozenset(senders - {""})

    @property
    def is_known(self) -> bool:
        """Whether anything is known of what is said on it."""
        return bool(self.messages or self.sources)


@dataclass(frozen=True, slots=True)
class SignalRange:
    """What is expected of a signal of a bus: its value in its unit, and for how long at most it stays the same."""

    bus: str
    message: Message
    signal: Signal
    low: float | None = None
    high: float | None = None
    stuck_s: float | None = None
    place: Place = Place("harness.toml")

    @property
    def name(self) -> str:
        return f"{self.message.name}.{self.signal.name}"

    @property
    def limits_text(self) -> str:
        unit = f" {self.signal.unit}" if self.signal.unit else ""
        parts = [f"at least {self.low:g}{unit}"] if self.low is not None else []
        parts += [f"at most {self.high:g}{unit}"] if self.high is not None else []
        parts += [f"unchanged for less than {self.stuck_s:g} s"] if self.stuck_s is not None else []
        return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class Talk:
    """One direction of a link: the transmitter's contact, the receiver's, and what is said."""

    tx: str
    rx: str
    sender: str  # unit reference
    types: tuple[str, ...] = ()  # sentence types, or first words of a text protocol
    period_s: float = 1.0
    is_timed: bool = False  # whether the profile states the period, so that it is judged


@dataclass(frozen=True, slots=True)
class Link:
    """A point-to-point RS-232 connection. `tap` is the connector at which it is listened to.

    baud        0 where the profile gives no speed: it is found by listening
    described   its protocol, where the profile describes it; None: `protocol` is one that is built in
    loop_back   whether its two wires are proved by a loop-back over a bridge at the far connector
    """

    name: str
    protocol: str  # "nmea0183", "text", or the name of one that the profile describes
    baud: int
    talks: tuple[Talk, ...]
    ground: str  # signal ground contact at the tapped connector
    tap: str
    framing: str = "8N1"
    place: Place = Place("harness.toml")
    described: TextProtocol | None = None
    loop_back: bool = False


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits that the profile may set for itself; each carries its source into the steps."""

    isolation_ohm: float = 1e6
    supply_to_ground_ohm: float = 20.0
    near_zero_v: float = 0.3
    unit_current_percent: float = 25.0
    contact_by_word: bool = True  # whether an open reading passes where contact is by the operator's word alone


@dataclass(frozen=True, slots=True)
class InBand:
    """Runs whose resistance must be in band, measured with four wires.

    length_percent  how far their lengths may be off, either way
    contact_ohm     the most that a mated contact with its crimp may have; None: by contact size
    """

    runs: tuple[str, ...]
    length_percent: float = 10.0
    contact_ohm: float | None = None
    place: Place = Place("harness.toml")


@dataclass(frozen=True)
class Harness:
    """The whole profile, checked for form: every reference in it can be followed.

    What is worked out from it is kept beside its fields, in `kept`, and is no part of what it equals.
    """

    name: str
    title: str
    ambient_c: float
    chassis: str  # the contact (stud) that is the equipment's ground
    connectors: Mapping[str, Connector]
    runs: tuple[Run, ...]
    parts: tuple[Part, ...]
    units: Mapping[str, Unit]
    feeds: tuple[Feed, ...]
    buses: tuple[Bus, ...]
    links: tuple[Link, ...]
    limits: Limits = field(default_factory=Limits)
    closeout: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # family -> list
    cables: Mapping[str, Cable] = field(default_factory=dict)
    in_band: tuple[InBand, ...] = ()
    signals: tuple[SignalRange, ...] = ()
    protocols: tuple[TextProtocol, ...] = ()
    insulation_c: int = 105  # temperature rating of wire whose cable says nothing else: 105, 150 or 200
    digest: str = ""  # SHA-256 of the profile's files, for the record
    notes: tuple[str, ...] = ()  # what reading the files had to guess (an encoding), in words

    @cached_property
    def kept(self) -> dict[object, object]:
        """Answers that were worked out once: see `harness.once`."""
        return {}

    @cached_property
    def wired_runs(self) -> tuple[Run, ...]:
        """The runs that are there to be measured; a planned one is on paper only."""
        return tuple(run for run in self.runs if run.state is not RunState.PLANNED)

    @cached_property
    def wired_ends(self) -> frozenset[str]:
        """Every contact in which a run ends that is there to be measured."""
        return frozenset(end for run in self.wired_runs for end in run.ends)

    @cached_property
    def _by_wire(self) -> Mapping[str, Run]:
        return {run.wire: run for run in reversed(self.runs)}

    def run(self, wire: str) -> Run | None:
        return self._by_wire.get(wire)

    def unit_contact(self, contact: str) -> UnitContact | None:
        """What the unit says of the contact that mates with harness contact `contact`."""
        connector = self.connectors.get(ref_of(contact))
        if connector is None or not connector.unit:
            return None
        unit = self.units.get(connector.unit)
        if unit is None:
            return None
        return unit.type.contact(connector.unit_connector, pin_of(contact))
