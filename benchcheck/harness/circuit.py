"""The resistor network of a harness in a bench state, and the resistance between any two contacts.

What is expected of a reading is computed from this, with and without the run in question, so that a
run that another path hides (a doubled ground, a meshed shield) is known before anyone probes it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from benchcheck.harness.model import Harness, PathKind, Role, Run, Unit, UnitPath
from benchcheck.harness.network_piece import Piece
from benchcheck.harness.plug import PLUG_OHM, code_ohm
from benchcheck.harness.wire import resistance_ohm
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import join, lifted, ref_of

# A crimped contact with its mating test contact: a few milliohms each end (common practice, no source).
CONTACT_OHM = 0.003
DEFAULT_LENGTH_M = 3.0
DEFAULT_AWG = 22
BRIDGE_LENGTH_M = 0.1
# Below this two contacts count as one conductor when asked "is it connected".
CONDUCTING_OHM = 1e5


@dataclass(frozen=True, slots=True)
class Edge:
    """A resistor between two contacts. `name` is the run, part or path it stands for."""

    name: str
    a: str
    b: str
    ohm: float


def run_ohm(run: Run, ambient_c: float) -> float:
    """Resistance of a run with its two crimped ends, in ohms; a missing gauge or length gets a middling one."""
    length_m = (
        run.length_m if run.length_m is not None else (BRIDGE_LENGTH_M if run.role == "bridge" else DEFAULT_LENGTH_M)
    )
    return resistance_ohm(run.awg if run.awg is not None else DEFAULT_AWG, length_m, ambient_c) + 2 * CONTACT_OHM


class Circuit:
    """Resistors between contacts. Changing one gives a new circuit; answers are cached in it."""

    def __init__(self, edges: Iterable[Edge]) -> None:
        self.edges: dict[str, Edge] = {edge.name: edge for edge in edges}
        self._at: dict[str, list[Edge]] | None = None
        self._components: dict[str, frozenset[str]] = {}
        self._pieces: dict[str, Piece] = {}

    def _touching(self) -> Mapping[str, list[Edge]]:
        if self._at is None:
            at: dict[str, list[Edge]] = {}
            for edge in self.edges.values():
                at.setdefault(edge.a, []).append(edge)
                at.setdefault(edge.b, []).append(edge)
            self._at = at
        return self._at

    def edges_at(self, contact: str) -> tuple[Edge, ...]:
        """The resistors that end at a contact."""
        return tuple(self._touching().get(contact, ()))

    def component(self, contact: str) -> frozenset[str]:
        """Every contact that conducts to `contact`, itself included: one and the same set for all of them."""
        found = self._components.get(contact)
        if found is None:
            at = self._touching()
            seen, todo = {contact}, [contact]
            while todo:
                for edge in at.get(todo.pop(), ()):
                    for end in (edge.a, edge.b):
                        if end not in seen:
                            seen.add(end)
                            todo.append(end)
            found = frozenset(seen)
            for member in found:
                self._components[member] = found
        return found

    def ohms(self, a: str, b: str) -> float:
        """Resistance between two contacts in ohms; infinite where nothing joins them."""
        if a == b:
            return 0.0
        if b not in self.component(a):
            return math.inf
        piece = self._pieces.get(a)
        if piece is None:
            component = self.component(a)
            piece = Piece(component, self._touching())
            self._pieces |= dict.fromkeys(component, piece)
        return piece.ohms(a, b)

    def ohms_without(self, name: str, a: str, b: str) -> float:
        """Resistance between two contacts if the resistor `name` were not there."""
        edge = self.edges.get(name)
        if edge is None:
            return self.ohms(a, b)
        if {edge.a, edge.b} == {a, b}:
            # What is left beside a resistor that lies directly between the two: 1/R - 1/r.
            whole = self.ohms(a, b)
            rest = 1 / whole - 1 / edge.ohm if whole > 0 else math.inf
            return 1 / rest if rest > 1e-9 / edge.ohm else math.inf
        return self.altered(remove={name}).ohms(a, b)

    def altered(
        self, *, remove: Iterable[str] = (), add: Iterable[Edge] = (), move: Callable[[Edge], Edge] | None = None
    ) -> Circuit:
        """A circuit with some resistors gone, moved to other contacts, or added."""
        gone = set(remove)
        kept = (edge for name, edge in self.edges.items() if name not in gone)
        changed = kept if move is None else (move(edge) for edge in kept)
        return Circuit([*changed, *add])


def circuit_of(harness: Harness, state: BenchState = ALL_OPEN) -> Circuit:
    """The harness in a bench state as resistors: runs, closed parts, and the paths of plugged units.

    Runs that are only planned are not in it, nor parts that don't conduct at rest. A lifted run ends at its lug (`W231@GND2`). Feeds and converters are not in it: this answers
    questions of resistance and of what is joined to what, not of volts.
    """
    edges: list[Edge] = []
    runs = harness.wired_runs
    for run in runs:
        if run.b:
            a, b = (lifted(run.wire, end) if lifted(run.wire, end) in state.lifted else end for end in (run.a, run.b))
            edges.append(Edge(run.wire, a, b, run_ohm(run, harness.ambient_c)))
    for part in harness.parts:
        if part.kind.conducts_at_rest and part.ref not in state.opened:
            edges.append(Edge(part.ref, part.a, part.b, max(part.ohm, 0.001)))
    bridged = frozenset(frozenset(run.ends) for run in runs if run.role is Role.BRIDGE)
    for unit in harness.units.values():
        edges += _paths_of(unit, state, bridged)
    edges += _plugs(harness, state)
    return Circuit(edges)


def _plugs(harness: Harness, state: BenchState) -> Iterable[Edge]:
    """What plugs and clips join to chassis in a bench state."""
    chassis = harness.chassis
    joined = {*state.links}
    for ref in state.plugs:
        joined.update(join(ref, pin) for pin in harness.connectors[ref].contacts)
    for contact in sorted(joined - {chassis}):
        yield Edge(f"plug:{contact}", contact, chassis, PLUG_OHM)
    for ref in sorted(state.coded):
        for index, pin in enumerate(harness.connectors[ref].contacts):
            yield Edge(f"code:{join(ref, pin)}", join(ref, pin), chassis, code_ohm(index))


def _paths_of(unit: Unit, state: BenchState, bridged: frozenset[frozenset[str]]) -> Iterable[Edge]:
    for number, path in enumerate(unit.type.paths):
        # a diode conducts at more volts than a meter in ohms may give: not counted on
        if path.kind in (PathKind.CASE_GROUND, PathKind.CONVERTER, PathKind.DIODE) or not path.b:
            continue
        if path.enabled_by and frozenset(_mated(unit, name, state) for name in path.enabled_by) not in bridged:
            continue
        ends = [_mated(unit, name, state) for name in (path.a, path.b)]
        if ends[0] and ends[1]:
            yield Edge(_path_name(unit, number), ends[0], ends[1], _path_ohm(path))


def _path_name(unit: Unit, number: int) -> str:
    return f"{unit.ref}:{unit.type.paths[number].kind.value}:{number}"


def enabled_by(harness: Harness, bridge: Run) -> frozenset[str]:
    """The resistors inside units that a bridge enables, and that go with it."""
    ends = set(bridge.ends)
    return frozenset(
        _path_name(unit, number)
        for unit in harness.units.values()
        for number, path in enumerate(unit.type.paths)
        if path.enabled_by and {unit.mate(name) for name in path.enabled_by} == ends
    )


def _path_ohm(path: UnitPath) -> float:
    if path.ohm > 0:
        return path.ohm
    return {PathKind.THROUGH: 0.05, PathKind.TERMINATOR: 120.0}.get(path.kind, 40e3)


def _mated(unit: Unit, unit_contact: str, state: BenchState) -> str:
    """The harness contact that mates with `J1-4` of a unit, or nothing while that connector is off it."""
    mate = unit.mate(unit_contact)
    return mate if ref_of(mate) in state.on_unit else ""


def moved(edge: Edge, where: Mapping[str, str]) -> Edge:
    """The resistor with its ends at other contacts, as `where` maps them."""
    if edge.a in where or edge.b in where:
        return replace(edge, a=where.get(edge.a, edge.a), b=where.get(edge.b, edge.b))
    return edge
