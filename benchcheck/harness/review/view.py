"""What the rules look at: the harness with its nets, and a few questions that several of them ask."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from itertools import permutations

from benchcheck.harness.feed_currents import Conductor, FeedCurrents
from benchcheck.harness.model import Bus, Feed, Harness, Need, PartKind, PathKind, Role, Run, Unit, UnitContact
from benchcheck.harness.nets import Groups, Nets
from benchcheck.harness.review.buses_seen import BusSeen
from benchcheck.harness.review.doubt import Doubt
from benchcheck.harness.review.net_roles import NetRoles
from benchcheck.words.contact import RING, SHELL, contact_key, join, ref_of
from benchcheck.words.errors import FileFault, Place

_BREAKING = (PartKind.PROTECTOR, PartKind.SWITCH)


class View:
    """A harness under review, as it is to be: planned runs count. Everything is worked out once, when first asked for."""

    def __init__(self, harness: Harness, faults: Sequence[FileFault] = ()) -> None:
        self.harness = harness
        self.faults = tuple(faults)  # of the pin table, which rules of their own speak of
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
        for contact, others in self.through.items():
            for other in others:
                if self.role_at(contact) is Role.POWER is self.role_at(other):
                    groups.join(contact, other)  # a unit that passes its supply on
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

    @cached_property
    def unit_nets(self) -> Sequence[tuple[int, tuple[tuple[str, Unit, UnitContact], ...]]]:
        """Each net with those of its contacts that a unit's file describes."""
        found = []
        for net, members in enumerate(self.nets.all_members()):
            entries = tuple((contact, *self.described[contact]) for contact in members if contact in self.described)
            if entries:
                found.append((net, entries))
        return found

    def is_wired(self, contact: str) -> bool:
        """Whether a run or a part ends in `contact`."""
        return contact in self.runs_at or contact in self._part_ends

    @cached_property
    def _part_ends(self) -> frozenset[str]:
        return frozenset(end for part in self.harness.parts for end in (part.a, part.b))

    @cached_property
    def _led_on(self) -> frozenset[str]:
        """Ends of parts that lead on like a run: a terminator across two contacts joins them to nothing else."""
        return frozenset(
            end for part in self.harness.parts if part.kind is not PartKind.TERMINATOR for end in (part.a, part.b)
        )

    @cached_property
    def missing(self) -> Mapping[str, tuple[Unit, UnitContact]]:
        """Contacts that a unit needs a run at and that have none: `forgotten_run` speaks of them, so others need not."""
        return {
            contact: (unit, entry)
            for contact, (unit, entry) in self.described.items()
            if entry.need is Need.NEEDED and contact not in self.runs_at and contact not in self._led_on
        }

    def _groups_missing(self, groups: Groups[str]) -> frozenset[str]:
        """The groups in which a contact is that lacks its run."""
        return frozenset(groups.find(contact) for contact in self.missing if contact in groups)

    @cached_property
    def missing_roles(self) -> Mapping[str, frozenset[Role]]:
        """Unit -> the roles of its contacts that are missing a run."""
        found: dict[str, set[Role]] = {}
        for unit, entry in self.missing.values():
            found.setdefault(unit.ref, set()).add(entry.role)
        return {ref: frozenset(roles) for ref, roles in found.items()}

    @cached_property
    def doubt(self) -> Doubt:
        """What may only follow from faulty rows of the pin table."""
        return Doubt(self.harness, self.nets, self.faults)

    @cached_property
    def net_roles(self) -> NetRoles:
        """Nets in which roles meet that don't belong together."""
        return NetRoles(self)

    @cached_property
    def buses(self) -> tuple[BusSeen, ...]:
        """Each CAN bus with its two wires."""
        return tuple(BusSeen(self, bus) for bus in self.harness.buses)

    @cached_property
    def buses_joined(self) -> tuple[tuple[Bus, Bus, tuple[str, ...], str], ...]:
        """Buses that are one, with the wires that are and a contact of the second at which that is seen."""
        found = []
        for second, first in permutations(self.buses, 2):
            at: dict[str, str] = {}
            for (name, wire), (_, other) in zip(second.sides, first.sides, strict=True):
                if wire & other and self.buses.index(first) < self.buses.index(second):
                    at[name] = min(wire & other, key=contact_key)
                elif not wire and (twice := self._twice_on(other, second.bus)):
                    at[name] = twice
            if at:
                found.append((first.bus, second.bus, tuple(at), next(iter(at.values()))))
        return tuple(found)

    def _twice_on(self, wire: frozenset[str], bus: Bus) -> str:
        """A second contact of one of a bus's nodes on one wire, where the unit doesn't join the two inside."""
        if not any(ref_of(contact) == bus.adapter_at for contact in wire):
            return ""
        first: dict[str, str] = {}
        for contact in sorted(wire, key=contact_key):
            unit = self.described[contact][0].ref if contact in self.described else ""
            if unit in bus.nodes and first.setdefault(unit, contact) != contact and contact not in self.through:
                return contact
        return ""

    @cached_property
    def currents(self) -> FeedCurrents:
        """What flows where, with everything on."""
        return FeedCurrents(self.harness)

    @cached_property
    def returning(self) -> Groups[str]:
        """Contacts joined as far as a ground return goes: any part but terminators, and units that pass a ground on.

        Signal grounds are often joined to the supply's return inside units: what flows back that way is a fault.
        """
        groups = self._joined(lambda kind: kind is not PartKind.TERMINATOR)
        for contact, others in self.through.items():
            for other in others:
                if self.role_at(contact) is Role.GROUND and self.role_at(other) is Role.GROUND:
                    groups.join(contact, other)
        for unit in self.harness.units.values():
            if any(path.kind is PathKind.CASE_GROUND for path in unit.type.paths):
                own = self.grounds.get(unit.ref, ())
                if not any(map(self.is_wired, own)):  # its case is all the ground that it has
                    for contact in own:
                        groups.join(contact, self.harness.chassis)
        return groups

    @cached_property
    def not_returned(self) -> Sequence[tuple[Feed, tuple[str, ...], bool]]:
        """Feed, the units on it whose current doesn't get back to it, and whether that is all of several."""
        fed: dict[str, dict[str, None]] = {}  # feed -> the units on it that have a ground
        for contact, (unit, entry) in self.described.items():
            feeds = self.feeds_at(contact) if entry.role is Role.POWER and unit.ref in self.grounds else ()
            if len(feeds) == 1 and feeds[0].source != contact:
                fed.setdefault(feeds[0].name, {})[unit.ref] = None
        found = []
        passing = self._groups_missing(self.returning)
        for feed in self.harness.feeds:
            units = fed.get(feed.name, {})
            if feed.ground in self.missing or self.conducting.together(feed.source, feed.ground):
                continue
            if self.net_roles.is_troubled(feed.source) or self.net_roles.is_troubled(feed.ground):
                continue
            away = tuple(
                ref
                for ref in units
                if not any(
                    c in self.missing
                    or self.net_roles.is_troubled(c)
                    or self.returning.together(c, feed.ground)
                    or (c in self.returning and self.returning.find(c) in passing)  # a unit passes it on
                    for c in self.grounds[ref]
                )
            )
            if away:
                found.append((feed, away, len(away) == len(units) > 1))
        return found

    @cached_property
    def grounds(self) -> Mapping[str, tuple[str, ...]]:
        """Unit -> its ground contacts, for those that have any."""
        found: dict[str, list[str]] = {}
        for contact, (unit, entry) in self.described.items():
            if entry.role is Role.GROUND:
                found.setdefault(unit.ref, []).append(contact)
        return {ref: tuple(contacts) for ref, contacts in found.items()}

    @cached_property
    def not_fed(self) -> Sequence[str]:
        """Power contacts that need a feed, have a run, and that no feed reaches."""
        if any(len(feeds) > 1 for feeds in self.feeds_by_group.values()):
            return []  # feeds that are joined are reported, and one of them may lack what joins them
        passing = self._groups_missing(self.switchable)
        dead = {feed.nominal_v for feed in self.harness.feeds if feed.source in self.missing}
        return [
            contact
            for contact, (_, entry) in self.described.items()
            if entry.role is Role.POWER
            and entry.need is Need.NEEDED
            and entry.feed_v is not None
            and entry.feed_v not in dead  # the run that its feed begins with is reported as forgotten
            and contact in self.runs_at
            and not self.net_roles.is_troubled(contact)
            and not self.feeds_at(contact)
            and not self.may_be_fed(contact)
            and self.switchable.find(contact) not in passing  # a unit would pass on what it lacks itself
        ]

    @cached_property
    def through(self) -> Mapping[str, tuple[str, ...]]:
        """Harness contact -> the harness contacts that its unit joins to it inside."""
        found: dict[str, list[str]] = {}
        for unit in self.harness.units.values():
            for path in unit.type.paths:
                a, b = (unit.mate(path.a), unit.mate(path.b)) if path.kind is PathKind.THROUGH else ("", "")
                if a and b:
                    found.setdefault(a, []).append(b)
                    found.setdefault(b, []).append(a)
        return {contact: tuple(others) for contact, others in found.items()}

    @cached_property
    def shields(self) -> Mapping[str, Run]:
        """The runs of role shield by their wire number."""
        return {run.wire: run for run in self.harness.runs if run.role is Role.SHIELD}

    @cached_property
    def _drain_nets(self) -> frozenset[int | None]:
        """Nets with a ring, shell, stud, the chassis or a ground contact of a unit in them."""
        found: set[int | None] = set()
        for net, members in enumerate(self.nets.all_members()):
            if any(map(self._is_ground, members)):
                found.add(net)
        return frozenset(found)

    def _is_ground(self, contact: str) -> bool:
        ref, _, pin = contact.partition("-")
        return (
            pin in (RING, SHELL)
            or contact == self.harness.chassis
            or self.harness.connectors[ref].family == "stud"
            or self.role_at(contact) in (Role.GROUND, Role.SHIELD)
        )

    def is_drain(self, contact: str) -> bool:
        """Whether a shield that ends at a contact is tied to ground there."""
        net = self.nets.net_of(contact)
        return net is not None and net in self._drain_nets

    def drained_ends(self, shield: Run) -> tuple[str, ...]:
        """The ends of a shield that are tied to something themselves: a ground, or a contact that something else is at."""
        return tuple(end for end in shield.ends if self._is_ground(end) or len(self.runs_at[end]) > 1)

    def size_of(self, contact: str) -> str:
        """The size of a crimp contact; empty where it isn't known, and for shells and rings."""
        ref, _, pin = contact.partition("-")
        return self.harness.connectors[ref].size_of(pin) if pin not in (RING, SHELL, "") else ""

    def has_part(self, contact: str) -> bool:
        """Whether a part ends in a contact."""
        return contact in self._part_ends

    def insulation_c(self, run: Run) -> int:
        """The temperature rating of a run: of its cable, else of the harness."""
        cable = self.harness.cables.get(run.cable)
        own = cable.insulation_c if cable is not None else None
        return self.harness.insulation_c if own is None else own

    @cached_property
    def converter_inputs(self) -> Mapping[str, tuple[Conductor, ...]]:
        """Input contact of a converter that steps up or down -> the conductors that carry its current alone."""
        found = {converted.contact: self.currents.own_branch(converted) for converted in self.currents.converted}
        return {contact: branch for contact, branch in found.items() if branch}

    @cached_property
    def converter_branches(self) -> frozenset[str]:
        """Wires and parts of which `converter_input` speaks."""
        return frozenset(c.name for branch in self.converter_inputs.values() for c in branch)

    def place_of(self, contact: str) -> Place:
        """Where to look for what is at a contact: the first run there, else the connector's table."""
        runs = self.runs_at.get(contact)
        return runs[0].place if runs else self.harness.connectors[contact.partition("-")[0]].place
