"""What the rules look at: the harness with its nets, and a few questions that several of them ask."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cached_property

from benchcheck.harness.buses import wire_contacts
from benchcheck.harness.model import Bus, Feed, Harness, PartKind, Role, Run, Unit, UnitContact
from benchcheck.harness.nets import Groups, Nets
from benchcheck.words.contact import join

_BREAKING = (PartKind.PROTECTOR, PartKind.SWITCH)


class View:
    """A harness under review, as it is to be: planned runs count. Everything is worked out once, when first asked for."""

    def __init__(self, harness: Harness) -> None:
        self.harness = harness
        self.nets = Nets(harness, planned=True)

    @cached_property
    def runs_at(self) -> Mapping[str, tuple[Run, ...]]:
        """Contact -> the runs that end in it."""
        found: dict[str, list[Run]] = {}
        for run in self.harness.runs:
            for end in run.ends:
                found.setdefault(end, []).append(run)
        return {contact: tuple(runs) for contact, runs in found.items()}

    @cached_property
    def described(self) -> Mapping[str, tuple[Unit, UnitContact]]:
        """Harness contact -> what the unit that mates there says of it."""
        found: dict[str, tuple[Unit, UnitContact]] = {}
        for unit in self.harness.units.values():
            for entry in unit.type.contacts:
                ref = unit.connectors.get(entry.connector)
                if ref is not None:
                    found[join(ref, entry.contact)] = (unit, entry)
        return found

    def role_at(self, contact: str) -> Role | None:
        """The role that the unit's file gives to the contact that mates with `contact`."""
        found = self.described.get(contact)
        return found[1].role if found else None

    def named(self, contact: str) -> str:
        """A contact with what the unit calls it: `P1-3 (GPS 'NMEA OUT')`."""
        found = self.described.get(contact)
        if found is None:
            return contact
        unit, entry = found
        return f"{contact} ({unit.ref} '{entry.name}')" if entry.name else f"{contact} ({unit.ref})"

    @cached_property
    def conducting(self) -> Groups[str]:
        """Contacts joined by runs and by breaking parts that are in and on, at rest."""
        return self._joined(lambda kind: kind in _BREAKING and kind.conducts_at_rest)

    @cached_property
    def switchable(self) -> Groups[str]:
        """Contacts that may be joined in use: relays pulled in and diodes conducting too."""
        return self._joined(lambda kind: kind in _BREAKING or not kind.conducts_at_rest)

    def _joined(self, through: Callable[[PartKind], bool]) -> Groups[str]:
        groups: Groups[str] = Groups()
        for run in self.harness.runs:
            groups.add(run.a)
            if run.b:
                groups.join(run.a, run.b)
        for part in self.harness.parts:
            if through(part.kind):
                groups.join(part.a, part.b)
        for feed in self.harness.feeds:
            groups.add(feed.source)
            groups.add(feed.ground)
        return groups

    @cached_property
    def feeds_by_group(self) -> Mapping[str, tuple[Feed, ...]]:
        """Group of contacts -> the feeds that drive it."""
        found: dict[str, list[Feed]] = {}
        for feed in self.harness.feeds:
            found.setdefault(self.conducting.find(feed.source), []).append(feed)
        return {group: tuple(feeds) for group, feeds in found.items()}

    def feeds_at(self, contact: str) -> tuple[Feed, ...]:
        """The feeds that reach a contact with every protector in and every switch on."""
        if contact not in self.runs_at:
            return ()
        return self.feeds_by_group.get(self.conducting.find(contact), ())

    def may_be_fed(self, contact: str) -> bool:
        """Whether a feed may reach a contact in use, through a relay or a diode if need be."""
        return any(self.switchable.together(feed.source, contact) for feed in self.harness.feeds)

    def unit_nets(self) -> Iterator[tuple[int, tuple[tuple[str, Unit, UnitContact], ...]]]:
        """Each net with those of its contacts that a unit's file describes."""
        for net, members in enumerate(self.nets.all_members()):
            entries = tuple((contact, *self.described[contact]) for contact in members if contact in self.described)
            if entries:
                yield net, entries

    def is_wired(self, contact: str) -> bool:
        """Whether a run or a part ends in `contact`."""
        return contact in self.runs_at or contact in self._part_ends

    @cached_property
    def _part_ends(self) -> frozenset[str]:
        return frozenset(end for part in self.harness.parts for end in (part.a, part.b))

    def bus_wires(self, bus: Bus) -> tuple[frozenset[str], frozenset[str]]:
        """Contacts on the CAN-H and CAN-L wires of a bus."""
        return wire_contacts(self.harness, bus, self.nets)
