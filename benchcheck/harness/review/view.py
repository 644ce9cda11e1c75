"""What the rules look at: the harness with its nets, and a few questions that several of them ask."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property

from benchcheck.harness.model import Bus, Feed, Harness, PartKind, Role, Run, Unit, UnitContact
from benchcheck.harness.nets import Groups, Nets
from benchcheck.words.contact import join, pin_of, ref_of

# parts that conduct when in and on
CLOSED_PARTS = frozenset({PartKind.PROTECTOR, PartKind.SWITCH, PartKind.RELAY})


class View:
    """A harness under review. Everything is worked out once, when it is first asked for."""

    def __init__(self, harness: Harness) -> None:
        self.harness = harness
        self.nets = Nets(harness)

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
        """Contacts joined by runs and by parts that are in and on."""
        groups: Groups[str] = Groups()
        for run in self.harness.runs:
            groups.add(run.a)
            if run.b:
                groups.join(run.a, run.b)
        for part in self.harness.parts:
            if part.kind in CLOSED_PARTS:
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
        """Contacts on the CAN-H and CAN-L wires of a bus: the nets at the connector of the adapter, and on from
        there through every unit that has more than one contact of that role."""
        return self._bus_wire(bus, Role.CAN_H), self._bus_wire(bus, Role.CAN_L)

    def _bus_wire(self, bus: Bus, role: Role) -> frozenset[str]:
        reached: set[str] = set()
        todo = [
            end
            for run in self.harness.runs
            for end in run.ends
            if ref_of(end) == bus.adapter_at and (self.role_at(end) or run.role) is role
        ]
        while todo:
            net = self.nets.net_of(todo.pop())
            if net is None:
                continue
            for contact in self.nets.members(net):
                if contact not in reached:
                    reached.add(contact)
                    todo += self._through(contact, role)
        return frozenset(reached)

    def _through(self, contact: str, role: Role) -> list[str]:
        """Contacts that the unit joins inside to the one that mates with `contact`."""
        connector = self.harness.connectors.get(ref_of(contact))
        unit = self.harness.units.get(connector.unit) if connector is not None else None
        if connector is None or unit is None:
            return []
        own = join(connector.unit_connector, pin_of(contact))
        found = []
        for path in unit.type.paths:
            if path.kind != "through" or own not in (path.a, path.b):
                continue
            other = path.b if own == path.a else path.a
            mate = self.mate(unit, other)
            if mate and self.role_at(mate) is role:
                found.append(mate)
        return found

    def mate(self, unit: Unit, own: str) -> str:
        """The harness contact that mates with a unit's own contact (`J1-4`); empty where none does."""
        name, _, pin = own.partition("-")
        ref = unit.connectors.get(name)
        return join(ref, pin) if ref else ""
