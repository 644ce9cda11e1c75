"""Nets in which roles meet that don't belong together, each told by one rule only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.model import Role, Run
from benchcheck.harness.reading.read_pins import SEEN_FROM_TO
from benchcheck.words.contact import ref_of

if TYPE_CHECKING:
    from benchcheck.harness.review.view import View

# What a contact carries. Roles that carry the same may be one net; a signal may be strapped to ground.
_CARRIES = {
    Role.POWER: "power",
    Role.GROUND: "ground",
    Role.SHIELD: "ground",
    Role.SIGNAL: "signal",
    Role.CAN_H: "CAN",
    Role.CAN_L: "CAN",
    Role.RS232_TX: "RS-232",
    Role.RS232_RX: "RS-232",
    Role.COAX: "coax",
}
_TOGETHER = frozenset({"ground", "signal"})
# a drain may end at a ground contact
_ALSO = {Role.SHIELD: frozenset({Role.SHIELD, Role.GROUND})}


@dataclass(frozen=True, slots=True)
class CrossedTwice:
    """A link both of whose wires are crossed: transmitters on one net, receivers on the other."""

    drivers: tuple[str, ...]
    receivers: tuple[str, ...]


class NetRoles:
    """What meets in the nets of a harness, by the units' own files."""

    def __init__(self, view: View) -> None:
        self._view = view

    @cached_property
    def bridged(self) -> frozenset[int | None]:
        """Nets in which a bridge joins contacts of different role: `bridge_roles` speaks of those."""
        view = self._view
        return frozenset(
            view.nets.net_of(run.a)
            for run in view.harness.runs
            if run.role is Role.BRIDGE
            and run.b
            and None not in (roles := (view.role_at(run.a), view.role_at(run.b)))
            and roles[0] is not roles[1]
        )

    @cached_property
    def mixed(self) -> Mapping[int, Mapping[str, str]]:
        """Net -> what it carries -> a contact that does, where that doesn't belong together."""
        harness = self._view.harness
        also = dict.fromkeys((harness.chassis, *(feed.ground for feed in harness.feeds)), "ground")
        also |= {feed.source: "power" for feed in harness.feeds}
        found: dict[int, Mapping[str, str]] = {}
        for net, members in enumerate(self._view.nets.all_members()):
            first: dict[str, str] = {}
            for contact in () if net in self.bridged else members:
                role = self._view.role_at(contact)
                carried = also.get(contact) if role is None else _CARRIES.get(role)
                if carried is not None:
                    first.setdefault(carried, contact)
            if len(first) > 1 and not set(first) <= _TOGETHER:
                found[net] = first
        return found

    @cached_property
    def pair_crossed(self) -> Mapping[int, tuple[str, str]]:
        """Net -> a contact of CAN-H and one of CAN-L in it."""
        found = {}
        for net, entries in self._view.unit_nets:
            high = [contact for contact, _, entry in entries if entry.role is Role.CAN_H]
            low = [contact for contact, _, entry in entries if entry.role is Role.CAN_L]
            if high and low and net not in self.bridged:
                found[net] = (high[0], low[0])
        return found

    @cached_property
    def drivers(self) -> Mapping[int, tuple[str, ...]]:
        """Net -> its transmitters, where there are several."""
        return {net: contacts for net, contacts in self._contacts(Role.RS232_TX).items() if len(contacts) > 1}

    @cached_property
    def receivers(self) -> Mapping[int, tuple[str, ...]]:
        """Net -> its receivers, where there are several and nothing that could drive them."""
        return {
            net: contacts
            for net, contacts in self._undriven.items()
            if net in self.crossed_twice or not (self._leads_outside(net) or self._lacks_its_talker(contacts))
        }

    @cached_property
    def _undriven(self) -> Mapping[int, tuple[str, ...]]:
        transmitters = self._contacts(Role.RS232_TX)
        return {
            net: contacts
            for net, contacts in self._contacts(Role.RS232_RX).items()
            if len(contacts) > 1 and net not in transmitters
        }

    def _lacks_its_talker(self, receivers: tuple[str, ...]) -> bool:
        """Whether these listen to the transmitter of another unit, which has no run: its link is not joined."""
        units = self._units(receivers)
        return any(
            talk.rx in receivers and not self._view.is_wired(talk.tx) and self._units((talk.tx,)).isdisjoint(units)
            for link in self._view.harness.links
            for talk in link.talks
        )

    @cached_property
    def crossed_twice(self) -> Mapping[int, CrossedTwice]:
        """Either net of a link both of whose wires are crossed -> that link."""
        by_units = {self._units(contacts): net for net, contacts in self._undriven.items()}
        found: dict[int, CrossedTwice] = {}
        for net, contacts in self.drivers.items():
            other = by_units.get(self._units(contacts))
            if other is not None:
                link = CrossedTwice(contacts, self._undriven[other])
                found[net] = found[other] = link
        return found

    @cached_property
    def troubled(self) -> frozenset[int | None]:
        """Nets that a rule speaks of because of the roles in them."""
        joined = (net for net in self.bridged if net is not None and self._meets(net))
        return frozenset((*joined, *self.mixed, *self.pair_crossed, *self.drivers, *self.receivers))

    @cached_property
    def disagreeing(self) -> tuple[tuple[Run, str, Role], ...]:
        """Runs with the end at which their role isn't that of the unit's contact, and what the unit says."""
        found = []
        for run in self._view.harness.runs:
            if run.role is Role.BRIDGE or self.is_troubled(run.a):
                continue  # what meets in a net that mustn't is reported as that
            from_unit = self._view.role_at(run.a) is not None
            for end, role in ((run.a, run.role), (run.b, SEEN_FROM_TO.get(run.role, run.role))):
                says = self._view.role_at(end)
                if says is None or says in _ALSO.get(role, {role}):
                    continue
                if end == run.b and not from_unit and says is run.role:
                    continue  # no unit at `from`: the role may be written as the unit at `to` sees it
                found.append((run, end, says))
        return tuple(found)

    @cached_property
    def disagreeing_roles(self) -> frozenset[Role]:
        """What units say of contacts to which runs of another role go."""
        return frozenset(says for _, _, says in self.disagreeing)

    @cached_property
    def misplaced(self) -> Counter[tuple[str, Role]]:
        """Ends of runs in a contact of another role, by connector and the role of the contact they were meant for.

        A run one contact off is reported where it ends; the contact that it was meant for is not forgotten besides.
        """
        found: Counter[tuple[str, Role]] = Counter()
        for run in self._view.harness.runs:
            if run.role is Role.BRIDGE or not self.is_troubled(run.a):
                continue
            for end, role in ((run.a, run.role), (run.b, SEEN_FROM_TO.get(run.role, run.role))):
                says = self._view.role_at(end)
                if says is not None and says is not role:
                    found[ref_of(end), role] += 1
        for run, end, _ in self.disagreeing:
            found[ref_of(end), SEEN_FROM_TO.get(run.role, run.role) if end == run.b else run.role] += 1
        return found

    @cached_property
    def exchanged(self) -> frozenset[tuple[str, str]]:
        """Of those that disagree, the runs (with their end) that have changed places with one in a troubled net at the
        same connector: two conductors exchanged are one mistake, and what meets in that net says it."""
        there: set[tuple[str, Role, Role]] = set()  # connector, the role that a run there is of, that of its contact
        for run in self._view.harness.runs:
            if run.role is Role.BRIDGE or not self.is_troubled(run.a):
                continue
            for end, role in ((run.a, run.role), (run.b, SEEN_FROM_TO.get(run.role, run.role))):
                says = self._view.role_at(end)
                if says is not None and says is not role:
                    there.add((ref_of(end), role, says))
        return frozenset(
            (run.wire, end)
            for run, end, says in self.disagreeing
            if (ref_of(end), says, SEEN_FROM_TO.get(run.role, run.role) if end == run.b else run.role) in there
        )

    def is_troubled(self, contact: str) -> bool:
        """Whether a contact is in such a net."""
        net = self._view.nets.net_of(contact)
        return net is not None and net in self.troubled

    def _meets(self, net: int) -> bool:
        """Whether what meets in a net is more than a signal that is strapped to ground."""
        roles = {self._view.role_at(contact) for contact in self._view.nets.members(net)} - {None}
        return not roles <= {Role.SIGNAL, Role.GROUND, Role.SHIELD, Role.BRIDGE}

    def _contacts(self, role: Role) -> dict[int, tuple[str, ...]]:
        found: dict[int, tuple[str, ...]] = {}
        for net, entries in self._view.unit_nets:
            contacts = tuple(contact for contact, _, entry in entries if entry.role is role)
            if contacts and net not in self.bridged:
                found[net] = contacts
        return found

    def _units(self, contacts: tuple[str, ...]) -> frozenset[str]:
        described = self._view.described
        return frozenset(described[contact][0].ref for contact in contacts if contact in described)

    def _leads_outside(self, net: int) -> bool:
        connectors = self._view.harness.connectors
        return any(
            contact not in self._view.described and not FAMILIES[connectors[ref_of(contact)].family].single
            for contact in self._view.nets.members(net)
        )
