"""The geometry of a CAN bus on paper: the line from end to end, what branches off it, and how long either may be.

One of the two wires is looked at at a time. A unit is passed by two conductors in one contact, or by a path inside it;
both are pieces of the line, the second without length.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from benchcheck.harness.model import Bus
from benchcheck.words.contact import contact_key

# Bits per second -> metres of bus: a fieldbus maker's page on CAN bus length by bit rate.
LONGEST_M: Mapping[int, float] = {
    1_000_000: 40,
    500_000: 100,
    250_000: 250,
    125_000: 500,
    50_000: 1000,
    20_000: 2500,
    10_000: 5000,
}
LONGEST_SOURCE = "published table of bus length by bit rate: 40 m at 1 Mbit/s to 5000 m at 10 kbit/s"
# ISO 11898-2 as quoted in CAN transceiver data sheets: 0.3 m at 1 Mbit/s, scaled with the bit time.
STUB_M_AT_1_MBIT = 0.3
# ECSS glossary after CiA 301: a third of the critical length, 50 ns / (2 x 5 ns/m) = 5 m.
MOST_STUB_M = 50 / (2 * 5) / 3
STUB_SOURCE = "ISO 11898-2: 0.3 m at 1 Mbit/s, scaled with the bit time, never above 1.67 m (ECSS, after CiA 301)"


def longest_line_m(bitrate: int) -> float:
    """How long a bus may be in metres: the row of the table for this bit rate, or for the next faster one."""
    faster = [rate for rate in LONGEST_M if rate >= bitrate]
    return LONGEST_M[min(faster)] if faster else LONGEST_M[max(LONGEST_M)]


def longest_branch_m(bus: Bus) -> float:
    """How long a branch may be in metres: what the profile says, or what the bit rate allows."""
    if bus.max_stub_m is not None:
        return bus.max_stub_m
    return min(STUB_M_AT_1_MBIT * 1e6 / bus.bitrate, MOST_STUB_M)


@dataclass(frozen=True, slots=True)
class Piece:
    """Something that joins two contacts of one wire of the bus: a run, or a unit inside (`wire` is empty, no length)."""

    a: str
    b: str
    length_m: float = 0.0
    wire: str = ""


@dataclass(frozen=True, slots=True)
class Branch:
    """What hangs off the line at `joint`: its farthest contact, how far that is, the units on it, whether it forks."""

    joint: str
    tip: str
    length_m: float
    units: tuple[str, ...]
    forks: bool


@dataclass(frozen=True, slots=True)
class Line:
    """One wire of a bus, laid out.

    ring      contacts that are joined in a ring; then nothing else is said
    at_m      contacts from end to end -> metres from the first
    branches  in the order of their joints
    unit_m    unit -> metres from the first end to where it is joined, or its branch is
    """

    ring: tuple[str, ...] = ()
    at_m: Mapping[str, float] = field(default_factory=dict)
    branches: tuple[Branch, ...] = ()
    unit_m: Mapping[str, float] = field(default_factory=dict)

    @property
    def ends(self) -> tuple[str, ...]:
        """The two ends; one where the bus is a single contact, none where it is nothing or a ring."""
        contacts = list(self.at_m)
        return tuple(dict.fromkeys((contacts[0], contacts[-1]))) if contacts else ()

    @property
    def length_m(self) -> float:
        """From end to end, as far as lengths are known."""
        return max(self.at_m.values(), default=0.0)


_Graph = Mapping[str, Mapping[str, float]]  # contact -> the next contacts, with the metres to them


def line_of(
    contacts: Collection[str], pieces: Iterable[Piece], units: Mapping[str, str], terminated: Collection[str] = ()
) -> Line:
    """Lay out one wire of a bus.

    contacts    all of the wire, joined by `pieces`
    units       contact -> the unit that is joined there
    terminated  contacts at which a terminator sits: an end of the wire with one is taken for an end of the line
    """
    graph: dict[str, dict[str, float]] = {contact: {} for contact in contacts}
    for piece in pieces:
        if piece.a == piece.b:
            continue
        for one, other in ((piece.a, piece.b), (piece.b, piece.a)):
            known = graph[one].get(other)
            graph[one][other] = piece.length_m if known is None else min(known, piece.length_m)
    if not graph:
        return Line()
    if ring := _ring(graph):
        return Line(ring=ring)
    start, end = _ends(graph, terminated)
    far, before = _distances(graph, start)
    path = [end]
    while path[-1] != start:
        path.append(before[path[-1]])
    path.reverse()
    at_m = {contact: far[contact][0] for contact in path}
    branches = [_branch(graph, joint, first, units) for joint in path for first in graph[joint] if first not in at_m]
    unit_m: dict[str, float] = {}
    for contact, metres in at_m.items():
        if contact in units:
            unit_m.setdefault(units[contact], metres)
    for branch in branches:
        for unit in branch.units:
            unit_m.setdefault(unit, at_m[branch.joint])
    return Line(at_m=at_m, branches=tuple(branches), unit_m=unit_m)


def _ring(graph: _Graph) -> tuple[str, ...]:
    """Contacts that stay when everything that ends is taken away: rings, and what joins them."""
    left = {contact: len(near) for contact, near in graph.items()}
    todo = [contact for contact, count in left.items() if count < 2]
    gone: set[str] = set()
    while todo:
        contact = todo.pop()
        gone.add(contact)
        for other in graph[contact]:
            left[other] -= 1
            if left[other] == 1 and other not in gone:
                todo.append(other)
    return tuple(sorted((contact for contact in graph if contact not in gone), key=contact_key))


def _distances(graph: _Graph, start: str) -> tuple[dict[str, tuple[float, int]], dict[str, str]]:
    """Metres and steps from `start` to each contact, and the contact before it on the way."""
    far: dict[str, tuple[float, int]] = {start: (0.0, 0)}
    before: dict[str, str] = {}
    todo = [start]
    while todo:
        contact = todo.pop()
        metres, steps = far[contact]
        for other, length in graph[contact].items():
            if other not in far:
                far[other] = (metres + length, steps + 1)
                before[other] = contact
                todo.append(other)
    return far, before


def _ends(graph: _Graph, terminated: Collection[str]) -> tuple[str, str]:
    """The two contacts between which the line runs: ends of the wire with a terminator, else those farthest apart."""
    leaves = sorted((contact for contact, near in graph.items() if len(near) < 2), key=contact_key)
    marked = [contact for contact in leaves if contact in terminated]
    among = marked if len(marked) > 1 else leaves

    def farthest(start: str) -> str:
        far, _ = _distances(graph, start)
        return max((contact for contact in among if contact in far), key=lambda contact: far[contact], default=start)

    start = marked[0] if len(marked) == 1 else farthest(among[0])
    return start, farthest(start)


def _branch(graph: _Graph, joint: str, first: str, units: Mapping[str, str]) -> Branch:
    tip, longest = first, 0.0
    found: dict[str, None] = {}
    forks = False
    todo = [(joint, first, graph[joint][first])]
    while todo:
        before, contact, metres = todo.pop()
        if metres >= longest:
            tip, longest = contact, metres
        if contact in units:
            found[units[contact]] = None
        forks = forks or len(graph[contact]) > 2
        todo += [(contact, other, metres + length) for other, length in graph[contact].items() if other != before]
    return Branch(joint, tip, longest, tuple(found), forks)
