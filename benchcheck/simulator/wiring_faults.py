"""Faults of the wiring and of its parts: the dead stage shows them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from benchcheck.harness.buses import wire_contacts
from benchcheck.harness.model import Harness, PartKind, Role
from benchcheck.simulator.fault import POWER, Complaint, Fault, not_positive
from benchcheck.simulator.names import all_contacts, holder_of
from benchcheck.words.contact import join, ref_of


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
        yield from not_positive("ohm", self.ohm)


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
        yield from not_positive("ohm", self.ohm)


@dataclass(frozen=True, slots=True)
class ExtraTerminator(PairFault):
    ohm: float = 120.0
    kind: ClassVar[str] = "extra_terminator"

    def where(self, harness: Harness) -> tuple[str, ...]:
        name = self._bus(harness)
        return (name,) if name else self.contacts

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from PairFault.complaints(self, harness)
        yield from not_positive("ohm", self.ohm)
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
