"""A CAN bus as the rules see it: its two wires, its terminators, whether it is whole, how it is laid out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from benchcheck.harness.buses import wire_contacts
from benchcheck.harness.can_line import Line, Piece, line_of, longest_branch_m
from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.model import Bus, PartKind, PathKind, Role, Run, Unit, UnitPath
from benchcheck.words.contact import ref_of

if TYPE_CHECKING:
    from benchcheck.harness.review.view import View

_CAN = frozenset({Role.CAN_H, Role.CAN_L})


@dataclass(frozen=True, slots=True)
class Terminator:
    """A terminator across the bus: what it is, and its contacts on CAN-H and CAN-L."""

    name: str
    high: str
    low: str


class BusSeen:
    """One bus of a harness under review."""

    def __init__(self, view: View, bus: Bus) -> None:
        self._view = view
        self.bus = bus

    @cached_property
    def wires(self) -> tuple[frozenset[str], frozenset[str]]:
        """Contacts on CAN-H and on CAN-L."""
        return wire_contacts(self._view.harness, self.bus, self._view.nets)

    @property
    def sides(self) -> tuple[tuple[str, frozenset[str]], ...]:
        """Either wire with its name."""
        return tuple(zip(("CAN-H", "CAN-L"), self.wires, strict=True))

    @cached_property
    def is_unfinished(self) -> bool:
        """Whether a node lacks a run that it needs, or a wire is joined to what doesn't belong there,
        or named so: other rules say that."""
        view = self._view
        return (
            any(self.bus in pair[:2] for pair in view.buses_joined)
            or any(_CAN & view.missing_roles.get(ref, frozenset()) for ref in self.bus.nodes)
            or any(view.net_roles.is_troubled(contact) for wire in self.wires for contact in wire)
            or not _CAN.isdisjoint(view.net_roles.disagreeing_roles)
        )

    @cached_property
    def is_whole(self) -> bool:
        """Whether both wires are there and reach every node: otherwise other rules than those of its layout speak."""
        return not self.is_unfinished and all(self.wires) and not any(self.off(ref) for ref in self.bus.nodes)

    def off(self, node: str) -> tuple[str, ...]:
        """The wires that don't reach a node."""
        own = set(self._view.harness.units[node].connectors.values())
        return tuple(name for name, refs in self._refs if not refs & own)

    @cached_property
    def _refs(self) -> tuple[tuple[str, frozenset[str]], ...]:
        return tuple((name, frozenset(ref_of(contact) for contact in wire)) for name, wire in self.sides)

    @cached_property
    def runs(self) -> tuple[tuple[Run, ...], tuple[Run, ...]]:
        """The runs of CAN-H and of CAN-L."""
        high, low = (
            tuple(
                {
                    run.place: run for contact in sorted(wire) for run in self._view.runs_at.get(contact, ()) if run.b
                }.values()
            )
            for wire in self.wires
        )
        return high, low

    @cached_property
    def terminators(self) -> tuple[Terminator, ...]:
        """Parts of the harness and paths inside units that lie across the bus."""
        return (*self._parts(), *self._inside_units())

    def _parts(self) -> Iterator[Terminator]:
        for part in self._view.harness.parts:
            if part.kind is PartKind.TERMINATOR:
                yield from self._across(part.ref, part.a, part.b)

    def _inside_units(self) -> Iterator[Terminator]:
        refs = {ref_of(contact) for wire in self.wires for contact in wire}
        for unit in self._view.harness.units.values():
            if refs.isdisjoint(unit.connectors.values()):
                continue
            for path in unit.type.paths:
                if path.kind is PathKind.TERMINATOR and self._enabled(unit, path):
                    yield from self._across(
                        f"inside {unit.ref}", self._outside(unit, path.a), self._outside(unit, path.b)
                    )

    def _outside(self, unit: Unit, own: str) -> str:
        """The contact on a wire of the bus that a unit joins to a contact of its own inside: that of an end unit's
        way out has no run, and may have no connector."""
        wired = self.wires[0] | self.wires[1]
        todo = [own]
        for one in todo:
            if unit.mate(one) in wired:
                return unit.mate(one)
            for path in unit.type.paths:
                if path.kind is PathKind.THROUGH and one in (path.a, path.b):
                    todo += {path.a, path.b}.difference(todo)
        return ""

    def _across(self, name: str, a: str, b: str) -> Iterator[Terminator]:
        high, low = self.wires
        if a in high and b in low:
            yield Terminator(name, a, b)
        elif a in low and b in high:
            yield Terminator(name, b, a)

    def _enabled(self, unit: Unit, path: UnitPath) -> bool:
        """Whether a path inside a unit is there: fixed, or enabled by a bridge that the harness has."""
        if path.enabled_by is None:
            return True
        one, other = (unit.mate(own) for own in path.enabled_by)
        return bool(one and other) and self._view.nets.together(one, other)

    @cached_property
    def bridge_astray(self) -> bool:
        """Whether a bridge that may enable a terminator of this bus ends in a wrong contact: that is reported."""
        view = self._view
        wires = self.wires[0] | self.wires[1]
        units = {view.described[contact][0].ref for contact in wires if contact in view.described}
        return any(
            path.kind is PathKind.TERMINATOR
            and path.enabled_by is not None
            and any(view.nets.net_of(unit.mate(own)) in view.net_roles.bridged for own in path.enabled_by)
            for unit in map(view.harness.units.__getitem__, sorted(units))
            for path in unit.type.paths
        )

    @cached_property
    def lines(self) -> tuple[tuple[str, Line], ...]:
        """Either wire laid out, with its name."""
        high, low = self.wires
        at_high = frozenset(terminator.high for terminator in self.terminators)
        at_low = frozenset(terminator.low for terminator in self.terminators)
        return (
            ("CAN-H", self._line(high, self.runs[0], at_high)),
            ("CAN-L", self._line(low, self.runs[1], at_low)),
        )

    def _line(self, wire: frozenset[str], runs: tuple[Run, ...], terminated: frozenset[str]) -> Line:
        pieces = [Piece(run.a, run.b, run.length_m or 0.0, run.wire) for run in runs]
        for contact in sorted(wire):
            pieces += [Piece(contact, other) for other in self._view.through.get(contact, ()) if other in wire]
        units = {contact: self._view.described[contact][0].ref for contact in wire if contact in self._view.described}
        line = line_of(sorted(wire), pieces, units, terminated)
        if not self._is_troubled(line):
            return line
        # A terminator that is not at an end may sit at that of a branch: then the listed nodes tell where the ends are.
        other = line_of(sorted(wire), pieces, units)
        ends = [units.get(end, "") for end in other.ends]
        listed = [self.bus.nodes[0], self.bus.nodes[-1]]
        return other if not self._is_troubled(other) and ends in (listed, listed[::-1]) else line

    def _is_troubled(self, line: Line) -> bool:
        """Whether what hangs off a line is more than stubs."""
        most = longest_branch_m(self.bus)
        return any(branch.forks or len(branch.units) > 1 or branch.length_m > most for branch in line.branches)

    @cached_property
    def split_pairs(self) -> tuple[tuple[str, tuple[Run, ...]], ...]:
        """Connectors at which CAN-H and CAN-L are not in one cable, with those runs, each run once."""
        if not self.is_whole:
            return ()
        found: list[tuple[str, tuple[Run, ...]]] = []
        said: set[str] = set()
        high, low = (self._by_connector(runs) for runs in self.runs)
        for ref in sorted(high.keys() & low.keys()):
            odd = self._unpaired(high[ref], low[ref]) or self._loose(high[ref], low[ref])
            if odd and said.isdisjoint(run.wire for run in odd):
                said.update(run.wire for run in odd)
                found.append((ref, tuple(odd)))
        if (odd := self._unpaired_between_splices()) and said.isdisjoint(run.wire for run in odd):
            found.append((ref_of(odd[0].a), tuple(odd)))
        return tuple(found)

    def _unpaired_between_splices(self) -> list[Run]:
        """The runs from splice to splice in a cable in which the other wire doesn't run, or in none and too long."""
        odd: list[Run] = []
        cables = [{run.cable for run in runs if run.cable} for runs in self.runs]
        for runs, others in zip(self.runs, reversed(cables), strict=True):
            between = [run for run in runs if all(self._is_single(end) for end in run.ends)]
            odd += [run for run in between if run.cable and run.cable not in others]
            odd += self._loose(between, ())
        return odd

    def _is_single(self, contact: str) -> bool:
        return FAMILIES[self._view.harness.connectors[ref_of(contact)].family].single

    def _by_connector(self, runs: Sequence[Run]) -> dict[str, list[Run]]:
        """Connector -> the runs of one wire that end there; bridges, which never leave it, are none."""
        found: dict[str, list[Run]] = {}
        for run in runs:
            refs = {ref_of(end) for end in run.ends}
            for ref in refs if len(refs) > 1 else ():
                if not self._is_single(ref):
                    found.setdefault(ref, []).append(run)
        return found

    def _unpaired(self, high: Sequence[Run], low: Sequence[Run]) -> list[Run]:
        """The runs at a connector that have no fellow of the other wire in their cable."""
        if len(high) != len(low):
            return []  # one of the two is missing here, which is another rule's
        odd = Counter(run.cable for run in high)
        odd.subtract(Counter(run.cable for run in low))
        return [run for run in (*high, *low) if odd[run.cable]]

    def _loose(self, high: Sequence[Run], low: Sequence[Run]) -> list[Run]:
        """The runs of a connector that are in no cable at all, and longer than a branch may be."""
        most = longest_branch_m(self.bus)
        return [run for run in (*high, *low) if not run.cable and (run.length_m or 0.0) > most]
