"""The lower bound: what no order can stay below, by the cost model of `plan.cost`.

Steps that may be done in any order are a *segment* (`plan.order` says which). In a segment, take contacts as points and
each pair of contacts that must be touched as a line between two points: a graph of m lines in pieces. An order of the
steps is an order of the lines; a line costs one lead move where it shares a point with the line before it (unless it is
the same line), else two.

**Lead moves.** Cut the order wherever two leads move: each sequence between cuts costs its number of lines plus one, and
all its lines lie in one piece. So an order costs m plus the number of sequences, and each piece needs at least one.

Often a piece needs more. Where all lines of a connected part of it are taken out and its points made one, what is left
of each sequence is still one: two lines that follow each other then, had only lines of that part between them, so both
end at the point that it became. A part can be given one line that hangs at its point for all of its own. So the number
that the simpler graph needs is a bound as well. With every part that is in a ring taken out like that (what is left
are the bridges, in the mathematical sense, and the parts hang together by them as a tree), the number can be computed: a
sequence in a tree is a caterpillar, a path with lines that hang at it. From the leaves up, with s the number of
branches at a point that save a sequence if they go on through it as part of the path:

    a point with branches costs those of its branches, less s, plus max(ceil(s / 2), 1 if a bare line hangs at it);
    it saves one if it goes on upwards, where s is odd, or where s is 0 and a bare line hangs at it

because at a point a path goes through at most two branches, and any number of lines hang at it. For trees the bound is
exact; for others it may be too low, never too high. The tests compare it with every order of small graphs.

**Connector changes** are the same question one level up: connectors as points, pairs of connectors as lines (a pair in
one connector hangs at it as a line with a free end).

**Zone changes.** Without one, both leads stay in their zones; where these are two, only one lead moves, so that the next
pair shares a contact. So pairs are in classes: those in one zone, for each zone; those between the same two zones that
hang together by contacts. From one class to another costs at least one zone change: classes minus one.

**From one segment to the next** nothing is saved but what the leads touch already: two moves less the most contacts that
a pair of this segment can have in common with a pair of the one before. Bench changes, readings and loads are the same in
every order that keeps to the plan's bench states.

The sum of all these, each at its least, is the bound in seconds; no order needs to reach all of them at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from benchcheck.harness.nets import Groups
from benchcheck.plan.cost import Effort, effort, is_probed
from benchcheck.plan.leads import LeadRule
from benchcheck.words.contact import ref_of
from benchcheck.words.step import Quantity, Stage, Step

Line = tuple[int, int]


def least_effort(segments: Iterable[Sequence[Step]], zones: Mapping[str, str], rule: LeadRule) -> Effort:
    """The least that steps can cost which are done segment by segment, in any order within each."""
    segments = [segment for segment in segments if segment]
    steps = [step for segment in segments for step in segment]
    return replace(effort(steps, zones, rule), **dict(zip(WAYS, least_ways(touched(segments, zones)), strict=True)))


WAYS = ("moves", "connectors", "zones")


def least_ways(parts: Iterable[Touched]) -> tuple[int, int, int]:
    """The least lead moves, connector changes and zone changes for segments one after the other."""
    moves = connectors = walks = 0
    before: Touched | None = None
    for now in parts:
        moves += now.least_moves
        connectors += now.least_connectors
        walks += now.least_walks
        if before is not None:
            moves += _entry(now.contacts, before.contacts) - 2
            connectors += _entry(now.connectors, before.connectors) - 2
            walks += not now.zones & before.zones
        before = now
    return moves, connectors, walks


class Touched:
    """What a segment touches, and what it takes at least, by itself and with the leads in the hand.

    Points are numbers: twice that of the contact or connector, and one more for the black lead of volts, for which
    the leads are not alike.
    """

    def __init__(self, stage: Stage, contacts: set[Line], connector: Sequence[int], zone: Sequence[int]) -> None:
        self.stage = stage
        self.contacts = contacts
        self.connectors = {_line(2 * connector[a >> 1] + (a & 1), 2 * connector[b >> 1] + (b & 1)) for a, b in contacts}
        self.zones = {zone[point >> 1] for line in contacts for point in line}
        self.least_moves = least_placements(contacts)
        self.least_connectors = least_placements(self.connectors)
        self.least_walks = classes(contacts, zone, shift=1) - 1


def touched(segments: Iterable[Sequence[Step]], zones: Mapping[str, str]) -> list[Touched]:
    """What each segment touches; nothing for one that needs no leads."""
    contacts: dict[str, int] = {}
    refs: dict[str, int] = {}
    names: dict[str, int] = {}
    connector: list[int] = []
    zone: list[int] = []

    def number(contact: str) -> int:
        found = contacts.get(contact)
        if found is None:
            found = contacts[contact] = len(contacts)
            ref = ref_of(contact)
            connector.append(refs.setdefault(ref, len(refs)))
            zone.append(names.setdefault(zones.get(ref, ""), len(names)))
        return found

    parts = []
    for segment in segments:
        lines: set[Line] = set()
        for step in segment:
            if is_probed(step):
                polar = step.quantity is Quantity.VOLTS
                lines.add(_line(2 * number(step.red), 2 * number(step.black) + polar))
        if lines:
            parts.append(Touched(segment[0].stage, lines, connector, zone))
    return parts


def classes(lines: Iterable[Line], zone: Sequence[int], *, shift: int = 0) -> int:
    """How many classes there are from one of which to another a zone is changed: see the top of this file.

    zone  by point, or by half the point where `shift` is 1
    """
    inside: set[int] = set()
    across: dict[Line, Groups[int]] = {}
    for a, b in lines:
        between = _line(zone[a >> shift], zone[b >> shift])
        if between[0] == between[1]:
            inside.add(between[0])
        else:
            across.setdefault(between, Groups()).join(a, b)
    return len(inside) + sum(len(groups.groups()) for groups in across.values())


def _line(a: int, b: int) -> Line:
    return (a, b) if a <= b else (b, a)


def _entry(now: set[Line], before: set[Line]) -> int:
    """The least leads that move from any line of one set to any line of the other, whichever lead is red."""
    lines, others = ({_line(a >> 1, b >> 1) for a, b in either} for either in (now, before))
    if lines & others:
        return 0
    return 1 if {p for line in lines for p in line} & {p for line in others for p in line} else 2


def least_placements(lines: Iterable[Line]) -> int:
    """The least times that one of two leads is put down so that each line was touched: see the top of this file.

    lines  each once, the lower point first; one from a point to itself hangs at it
    """
    graph = _Graph(lines)
    return graph.count + sum(graph.least_sequences(start) for start in graph.unvisited())


class _Graph:
    """Points and lines as numbers; lines of one point get a free end of their own."""

    def __init__(self, lines: Iterable[Line]) -> None:
        number: dict[int, int] = {}
        self.count = 0
        self.at: list[list[tuple[int, int]]] = []  # point -> (line, other point)
        for one, other in lines:
            ends: list[int] = []
            for point in (one, other):
                at = number.get(point)
                if at is None or (point == one and ends):
                    at = len(self.at)  # new, or the free end of a line that hangs
                    number.setdefault(point, at)
                    self.at.append([])
                ends.append(at)
            a, b = ends
            self.at[a].append((self.count, b))
            self.at[b].append((self.count, a))
            self.count += 1
        self._seen = [False] * len(self.at)

    def unvisited(self) -> Iterable[int]:
        """A point of each piece; each must be asked for before the next is drawn."""
        for point in range(len(self.at)):
            if not self._seen[point]:
                yield point

    def least_sequences(self, start: int) -> int:
        """A bound for the sequences that the piece at a point needs: by its bridges, from the leaves up."""
        at, seen = self.at, self._seen
        order: list[int] = []  # points as first met
        above: dict[int, int] = {start: -1}
        line_up: dict[int, int] = {start: -1}
        met: dict[int, int] = {}
        low: dict[int, int] = {}
        todo = [(start, iter(at[start]))]
        seen[start] = True
        met[start] = low[start] = 0
        order.append(start)
        while todo:
            point, lines = todo[-1]
            for line, other in lines:
                if line == line_up[point]:
                    continue
                if seen[other]:
                    low[point] = min(low[point], met[other])
                    continue
                seen[other] = True
                above[other], line_up[other] = point, line
                met[other] = low[other] = len(order)
                order.append(other)
                todo.append((other, iter(at[other])))
                break
            else:
                todo.pop()
                if todo:
                    low[todo[-1][0]] = min(low[todo[-1][0]], low[point])
        # A point that can't be reached around its line up is the top of its ring part; the others belong to the part above.
        top: dict[int, int] = {}
        for point in order:
            top[point] = point if low[point] == met[point] else top[above[point]]
        return _caterpillars(order, top, above)


def _caterpillars(order: Sequence[int], top: Mapping[int, int], above: Mapping[int, int]) -> int:
    saving: dict[int, int] = {}  # ring part -> branches that save a sequence
    bare = {top[point] for point in order if top[point] != point}  # its own lines, as one that hangs
    total = 0
    for point in reversed(order):
        if top[point] != point:
            continue
        s, needs = saving.get(point, 0), point in bare
        total += max((s + 1) // 2, int(needs)) - s
        if above[point] >= 0:
            over = top[above[point]]
            if not s and not needs:
                bare.add(over)  # nothing below takes up the line that leads here
            elif s % 2 or not s:
                saving[over] = saving.get(over, 0) + 1
    return max(total, 1)
