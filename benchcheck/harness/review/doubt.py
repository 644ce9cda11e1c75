"""What of a review may only follow from faulty rows of the pin table, so that one mistake is reported once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence

from benchcheck.harness.model import Harness, Role, Run, UnitContact
from benchcheck.harness.nets import Nets
from benchcheck.harness.reading.read_pins import SEEN_FROM_TO
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import FileFault

# Faults of rows of which something is missing: an end, or a value that can't be read.
_INCOMPLETE = frozenset({"", "contact_unknown", "run_with_one_end", "run_to_itself", "bridge_between_connectors"})
_CAN = frozenset({Role.CAN_H, Role.CAN_L})


class Doubt:
    """The runs, contacts, nets, buses and links that faulty rows of the pin table leave in doubt."""

    def __init__(self, harness: Harness, nets: Nets, faults: Sequence[FileFault]) -> None:
        self._nets = nets
        self._names: set[str] = set()
        self._doubtful_nets: set[int] = set()
        self.roles: frozenset[Role] = frozenset()  # of the runs that may be missing
        self._at_connector: Counter[str] = Counter()  # rows that name a contact which that connector doesn't have
        self._of_role: Counter[Role] = Counter()  # ends that are missing, by the role that their contact would have
        if faults:
            self._read(harness, faults)

    def covers(self, where: Collection[str]) -> bool:
        """Whether what is at `where` is in doubt."""
        if not self._names and not self._doubtful_nets:
            return False
        return any(name in self._names or self._nets.net_of(name) in self._doubtful_nets for name in where)

    def forgotten(self, missing: Mapping[str, UnitContact]) -> tuple[str, ...]:
        """Of the contacts that have no run, those that no faulty row may have been meant for."""
        at_connector, of_role = self._at_connector.copy(), self._of_role.copy()
        left = []
        for contact, entry in missing.items():
            if at_connector[ref_of(contact)] > 0:
                at_connector[ref_of(contact)] -= 1
            elif of_role[entry.role] > 0:
                of_role[entry.role] -= 1
            else:
                left.append(contact)
        return tuple(left)

    def _read(self, harness: Harness, faults: Sequence[FileFault]) -> None:
        runs: dict[int | None, Run] = {run.place.line: run for run in harness.runs}
        at: dict[str, list[tuple[Run, Role]]] = {}
        for run in harness.runs:
            at.setdefault(run.a, []).append((run, run.role))
            if run.b:
                at.setdefault(run.b, []).append((run, SEEN_FROM_TO.get(run.role, run.role)))
        for fault in faults:
            found = runs.get(fault.place.line)
            if fault.code == "contact_used_twice":
                self._twice(harness, fault.names, at)
            elif fault.code == "wire_number_twice":
                self._same_number(harness, fault.names[0])
            elif fault.code in _INCOMPLETE and found is None:
                self.roles = frozenset(Role)  # a row of which nothing is left may have been anything
            elif fault.code in _INCOMPLETE and found is not None:
                self._incomplete(harness, found, fault)
        for link in harness.links:
            contacts = (link.ground, *(end for talk in link.talks for end in (talk.tx, talk.rx)))
            if self.covers(contacts):
                self._names.add(link.name)

    def _incomplete(self, harness: Harness, run: Run, fault: FileFault) -> None:
        self._names.update((run.wire, *run.ends))
        self.roles |= {run.role, SEEN_FROM_TO.get(run.role, run.role)}
        for end in run.ends:
            if (net := self._nets.net_of(end)) is not None:
                self._doubtful_nets.add(net)
        if run.role in _CAN:
            self._names.update(bus.name for bus in harness.buses)
            self._names.update(ref for bus in harness.buses for ref in bus.nodes)
        ref = ref_of(fault.names[0]) if fault.code == "contact_unknown" else ""
        if ref in harness.connectors:
            self._at_connector[ref] += 1
        elif run.role is Role.BRIDGE:
            self._at_connector.update({ref_of(end) for end in run.ends})
        elif fault.code:
            self._of_role[SEEN_FROM_TO.get(run.role, run.role)] += 1

    def _twice(self, harness: Harness, names: tuple[str, ...], at: Mapping[str, Sequence[tuple[Run, Role]]]) -> None:
        """The conductor that is too many may belong into another contact: its role shows into what kind."""
        contact, wire = names
        self._names.add(wire)
        roles = {role for _, role in at.get(contact, ())}
        self.roles |= roles
        if any(run.wire == wire and run.role in _CAN for run, _ in at.get(contact, ())):
            self._names.update(bus.name for bus in harness.buses)
            self._names.update(ref for bus in harness.buses for ref in bus.nodes)
        entry = harness.unit_contact(contact)
        self._of_role.update((roles - {entry.role} if entry is not None else roles) or roles)
        if len(roles) > 1 and (net := self._nets.net_of(contact)) is not None:
            self._doubtful_nets.add(net)

    def _same_number(self, harness: Harness, wire: str) -> None:
        """Of two shields of one number it can't be told which one a core names, nor which cable is the shielded one."""
        runs = [run for run in harness.runs if run.wire == wire]
        if any(run.role is Role.SHIELD for run in runs):
            self._names.add(wire)
            self._names.update(run.cable for run in harness.runs if wire in (run.wire, run.shield) and run.cable)
