"""The faults that can be planted in the simulated bench: one frozen class a kind.

Each knows the stage in which it must show, and `where` a squawk about it would point. Only the
simulator and the tests ever read these; the tool under test must find the faults by measuring.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import ClassVar

from benchcheck.harness.buses import wire_contacts
from benchcheck.harness.model import Harness, PartKind, Role
from benchcheck.simulator.names import all_contacts, holder_of
from benchcheck.words.contact import join, ref_of

# What is wrong with a fault: the key, what it is, what to do about it (names to choose from: nearest is shown).
Complaint = tuple[str, str, tuple[str, ...]]

DEAD, POWER, LIVE = "dead", "power", "live"


@dataclass(frozen=True, slots=True)
class Fault:
    """What all faults share."""

    kind: ClassVar[str] = ""
    stage: ClassVar[str] = DEAD

    def where(self, harness: Harness) -> tuple[str, ...]:
        """The places that a squawk about this fault would name."""
        raise NotImplementedError

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        """What of this fault can't be followed in `harness`."""
        raise NotImplementedError

    def truth(self, harness: Harness) -> dict[str, object]:
        """The fault as the truth list has it, in plain JSON values."""
        keys = {key: list(value) if isinstance(value, tuple) else value for key, value in asdict(self).items()}
        return {"kind": self.kind, "stage": self.stage, "where": list(self.where(harness)), **keys}


@dataclass(frozen=True, slots=True)
class RunFault(Fault):
    run: str

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.run,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from _unknown_run(harness, "run", self.run)


@dataclass(frozen=True, slots=True)
class OpenRun(RunFault):
    kind: ClassVar[str] = "open_run"


@dataclass(frozen=True, slots=True)
class HighResistance(RunFault):
    ohm: float
    kind: ClassVar[str] = "high_resistance"
    stage: ClassVar[str] = POWER

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from _unknown_run(harness, "run", self.run)
        yield from _not_positive("ohm", self.ohm)


@dataclass(frozen=True, slots=True)
class MissingBridge(RunFault):
    kind: ClassVar[str] = "missing_bridge"

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from _run_of_role(harness, self.run, Role.BRIDGE, "a bridge")


@dataclass(frozen=True, slots=True)
class MissingDrain(RunFault):
    kind: ClassVar[str] = "missing_drain"

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from _run_of_role(harness, self.run, Role.SHIELD, "a shield or drain")


@dataclass(frozen=True, slots=True)
class WrongContact(RunFault):
    """The end of `run` that belongs in `end` sits in the vacant contact `to` of the same connector."""

    end: str
    to: str
    kind: ClassVar[str] = "wrong_contact"

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from _unknown_run(harness, "run", self.run)
        run = harness.run(self.run)
        if run is not None and self.end not in run.ends:
            yield "end", f"run {self.run} has no end at {self.end!r}", run.ends
        yield from _unknown_contact(harness, "to", self.to)
        if ref_of(self.to) != ref_of(self.end):
            yield "to", f"{self.to} is not in the connector of {self.end}", ()
        elif held := _held_by(harness, self.to):
            yield "to", f"{self.to} is not vacant: {', '.join(held)} sits there", _vacant(harness, ref_of(self.to))


@dataclass(frozen=True, slots=True)
class PairFault(Fault):
    contacts: tuple[str, str]

    def where(self, harness: Harness) -> tuple[str, ...]:
        return self.contacts

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        for contact in self.contacts:
            yield from _unknown_contact(harness, "contacts", contact)
        if self.contacts[0] == self.contacts[1]:
            yield "contacts", "the two contacts are the same", ()


@dataclass(frozen=True, slots=True)
class SwappedContacts(PairFault):
    kind: ClassVar[str] = "swapped_contacts"

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from PairFault.complaints(self, harness)
        if ref_of(self.contacts[0]) != ref_of(self.contacts[1]):
            yield "contacts", "the two contacts must be of one connector", ()


@dataclass(frozen=True, slots=True)
class CrossedTxRx(SwappedContacts):
    kind: ClassVar[str] = "crossed_tx_rx"


@dataclass(frozen=True, slots=True)
class Short(PairFault):
    ohm: float = 0.1
    kind: ClassVar[str] = "short"

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from PairFault.complaints(self, harness)
        yield from _not_positive("ohm", self.ohm)


@dataclass(frozen=True, slots=True)
class ExtraTerminator(PairFault):
    ohm: float = 120.0
    kind: ClassVar[str] = "extra_terminator"

    def where(self, harness: Harness) -> tuple[str, ...]:
        name = self._bus(harness)
        return (name,) if name else self.contacts

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from PairFault.complaints(self, harness)
        yield from _not_positive("ohm", self.ohm)
        if not self._bus(harness):
            text = f"{self.contacts[0]} and {self.contacts[1]} are not CAN-H and CAN-L of one bus"
            yield "contacts", text, ()

    def _bus(self, harness: Harness) -> str:
        for bus in harness.buses:
            high, low = wire_contacts(harness, bus)
            a, b = self.contacts
            if (a in high and b in low) or (a in low and b in high):
                return bus.name
        return ""


@dataclass(frozen=True, slots=True)
class MirroredNumbering(Fault):
    """The conductors of every row of connector `at` sit in reverse order."""

    at: str
    kind: ClassVar[str] = "mirrored_numbering"

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.at,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        if self.at not in harness.connectors:
            yield "at", f"no connector {self.at!r}", tuple(harness.connectors)


@dataclass(frozen=True, slots=True)
class BusCut(Fault):
    runs: tuple[str, str]
    kind: ClassVar[str] = "bus_cut"

    def where(self, harness: Harness) -> tuple[str, ...]:
        return self.runs

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        for run in self.runs:
            yield from _unknown_run(harness, "runs", run)


@dataclass(frozen=True, slots=True)
class PartFault(Fault):
    part: str

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.part,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        refs = tuple(part.ref for part in harness.parts)
        if self.part not in refs:
            yield "part", f"no part {self.part!r}", refs


@dataclass(frozen=True, slots=True)
class MissingTerminator(PartFault):
    kind: ClassVar[str] = "missing_terminator"

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from PartFault.complaints(self, harness)
        yield from _part_of_kind(harness, self.part, "terminator", PartKind.TERMINATOR)


@dataclass(frozen=True, slots=True)
class ProtectorOpen(PartFault):
    kind: ClassVar[str] = "protector_open"

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from PartFault.complaints(self, harness)
        yield from _part_of_kind(harness, self.part, "protector or switch", PartKind.PROTECTOR, PartKind.SWITCH)


@dataclass(frozen=True, slots=True)
class UnitFault(Fault):
    unit: str

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.unit,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        if self.unit not in harness.units:
            yield "unit", f"no unit {self.unit!r}", tuple(harness.units)


class TalkerFault(UnitFault):
    """A fault of what a unit says: only of units that say anything, on a bus or on a line."""

    __slots__ = ()

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from UnitFault.complaints(self, harness)
        talkers = {message.sender for bus in harness.buses for message in bus.messages}
        talkers |= {talk.sender for link in harness.links for talk in link.talks}
        if self.unit in harness.units and self.unit not in talkers:
            yield "unit", f"{self.unit} says nothing on any bus or line", tuple(sorted(talkers))


@dataclass(frozen=True, slots=True)
class ConverterOff(UnitFault):
    kind: ClassVar[str] = "converter_off"
    stage: ClassVar[str] = POWER

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from UnitFault.complaints(self, harness)
        makers = tuple(feed.converter for feed in harness.feeds if feed.converter)
        if self.unit in harness.units and self.unit not in makers:
            yield "unit", f"{self.unit} makes no feed", makers


@dataclass(frozen=True, slots=True)
class UnitCurrent(UnitFault):
    factor: float
    kind: ClassVar[str] = "unit_current"
    stage: ClassVar[str] = POWER

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from UnitFault.complaints(self, harness)
        yield from _not_positive("factor", self.factor)


@dataclass(frozen=True, slots=True)
class SilentUnit(TalkerFault):
    kind: ClassVar[str] = "silent_unit"
    stage: ClassVar[str] = LIVE


@dataclass(frozen=True, slots=True)
class LateUnit(TalkerFault):
    delay_s: float
    kind: ClassVar[str] = "late_unit"
    stage: ClassVar[str] = LIVE

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from TalkerFault.complaints(self, harness)
        yield from _not_positive("delay_s", self.delay_s)


@dataclass(frozen=True, slots=True)
class IntermittentUnit(TalkerFault):
    on_s: float
    off_s: float
    kind: ClassVar[str] = "intermittent_unit"
    stage: ClassVar[str] = LIVE

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from TalkerFault.complaints(self, harness)
        yield from _not_positive("on_s", self.on_s)
        yield from _not_positive("off_s", self.off_s)


@dataclass(frozen=True, slots=True)
class FeedVolts(Fault):
    feed: str
    volts: float
    kind: ClassVar[str] = "feed_volts"
    stage: ClassVar[str] = POWER

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.feed,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        made = tuple(feed.name for feed in harness.feeds if feed.converter)
        if self.feed not in made:
            known = self.feed in (feed.name for feed in harness.feeds)
            text = f"feed {self.feed!r} is made by no converter" if known else f"no feed {self.feed!r}"
            yield "feed", text, made
        yield from _not_positive("volts", self.volts)


@dataclass(frozen=True, slots=True)
class DeadTransmitter(Fault):
    contact: str
    kind: ClassVar[str] = "dead_transmitter"
    stage: ClassVar[str] = POWER

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.contact,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        transmitters = tuple(talk.tx for link in harness.links for talk in link.talks)
        if self.contact not in transmitters:
            yield "contact", f"no link has its transmitter at {self.contact!r}", transmitters


@dataclass(frozen=True, slots=True)
class WrongBaud(Fault):
    link: str
    sender: str
    baud: int
    kind: ClassVar[str] = "wrong_baud"
    stage: ClassVar[str] = LIVE

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.link,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        links = {link.name: link for link in harness.links}
        if self.link not in links:
            yield "link", f"no link {self.link!r}", tuple(links)
            return
        senders = tuple(talk.sender for talk in links[self.link].talks)
        if self.sender not in senders:
            yield "sender", f"{self.sender!r} says nothing on link {self.link}", senders
        yield from _not_positive("baud", self.baud)


@dataclass(frozen=True, slots=True)
class UnexpectedMessage(Fault):
    bus: str
    can_id: int
    period_s: float
    kind: ClassVar[str] = "unexpected_message"
    stage: ClassVar[str] = LIVE

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.bus,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        buses = tuple(bus.name for bus in harness.buses)
        if self.bus not in buses:
            yield "bus", f"no bus {self.bus!r}", buses
        if not 0 <= self.can_id < 1 << 29:
            yield "can_id", f"{self.can_id} is no CAN identifier", ()
        yield from _not_positive("period_s", self.period_s)


def _classes(base: type[Fault]) -> Iterator[type[Fault]]:
    for child in base.__subclasses__():
        if child.kind:
            yield child
        yield from _classes(child)


# Every kind that can be planted; found from the classes, so that there is no second list.
KINDS: dict[str, type[Fault]] = {entry.kind: entry for entry in _classes(Fault)}


def _unknown_run(harness: Harness, key: str, wire: str) -> Iterator[Complaint]:
    if harness.run(wire) is None:
        yield key, f"no run {wire!r}", tuple(run.wire for run in harness.runs)


def _run_of_role(harness: Harness, wire: str, role: Role, what: str) -> Iterator[Complaint]:
    run = harness.run(wire)
    if run is None:
        yield from _unknown_run(harness, "run", wire)
    elif run.role is not role:
        yield "run", f"run {wire} is not {what}", tuple(entry.wire for entry in harness.runs if entry.role is role)


def _part_of_kind(harness: Harness, ref: str, what: str, *kinds: PartKind) -> Iterator[Complaint]:
    part = next((part for part in harness.parts if part.ref == ref), None)
    if part is not None and part.kind not in kinds:
        fit = tuple(other.ref for other in harness.parts if other.kind in kinds)
        yield "part", f"{ref} is a {part.kind.value}, no {what}", fit


def _held_by(harness: Harness, contact: str) -> tuple[str, ...]:
    """What is in a contact already: its conductors, and parts that are fitted there."""
    runs = tuple(run.wire for run in harness.runs if contact in run.ends)
    return runs + tuple(part.ref for part in harness.parts if contact in (part.a, part.b))


def _vacant(harness: Harness, ref: str) -> tuple[str, ...]:
    connector = harness.connectors[ref]
    names = (join(ref, pin) for pin in connector.contacts)
    return tuple(name for name in names if not _held_by(harness, name))


def _unknown_contact(harness: Harness, key: str, contact: str) -> Iterator[Complaint]:
    known = all_contacts(harness)
    if contact in known:
        return
    holder = holder_of(harness, contact)
    if holder is None:
        yield key, f"no contact {contact!r}", tuple(sorted(known))
    else:
        names = tuple(join(holder.ref, pin) for pin in holder.contacts)
        yield key, f"connector {holder.ref} has no contact {contact!r}", names


def _not_positive(key: str, value: float) -> Iterator[Complaint]:
    if not value > 0:
        yield key, f"{value:g} must be more than 0", ()
