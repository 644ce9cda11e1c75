"""Current in a network of resistors, where what enters and leaves it is known at each contact.

Whatever ends is taken away first, since the current in it is known; what is left, rings and what joins them, is solved.
So a harness of tens of thousands of runs, nearly all of which end somewhere, costs little.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

# What counts as a resistance of nothing: next to wire it carries as much as it is asked to.
LEAST_OHM = 1e-5
# Rings up to this many contacts are solved at once, larger ones by steps.
MOST_AT_ONCE = 400


@dataclass(frozen=True, slots=True)
class Edge:
    a: str
    b: str
    ohm: float


class Flow:
    """The currents in `edges` (amps, from a to b), and the volts between contacts.

    entering  contact -> amperes that enter the network there; negative where they leave it
    roots     contacts from which `steps` count and ways begin: no two in one network need be given, but may be
    """

    def __init__(self, edges: Sequence[Edge], entering: Mapping[str, float], roots: Iterable[str]) -> None:
        self._edges = edges
        self._entering = dict(entering)
        self._at: dict[str, list[int]] = {}
        for index, edge in enumerate(edges):
            if edge.a != edge.b:
                self._at.setdefault(edge.a, []).append(index)
                self._at.setdefault(edge.b, []).append(index)
        self.amps: list[float] = [0.0] * len(edges)
        self._run()
        self._steps: dict[str, int] = {}
        self._before: dict[str, int] = {}
        self._level: dict[str, float] = {}
        for root in roots:
            self._walk(root)

    def entering(self, contact: str) -> float:
        """Amperes that enter the network at a contact."""
        return self._entering.get(contact, 0.0)

    def steps(self, contact: str) -> int:
        """How many edges from its root a contact is."""
        return self._steps.get(contact, 0)

    def volts(self, a: str, b: str) -> float:
        """How far `a` is above `b`; 0 where they aren't joined."""
        return self._level.get(a, 0.0) - self._level.get(b, 0.0)

    def way(self, a: str, b: str) -> tuple[int, ...]:
        """The edges of a way from `a` to `b`, the fewest; empty where there is none."""
        from_a, from_b = self._to_root(a), self._to_root(b)
        while from_a and from_b and from_a[-1] == from_b[-1]:
            from_a.pop()
            from_b.pop()
        return (*from_a, *reversed(from_b))

    def _to_root(self, contact: str) -> list[int]:
        found = []
        while contact in self._before:
            index = self._before[contact]
            found.append(index)
            contact = self._other(index, contact)
        return found

    def _other(self, index: int, contact: str) -> str:
        edge = self._edges[index]
        return edge.b if edge.a == contact else edge.a

    def _walk(self, root: str) -> None:
        """Levels and steps of everything that is joined to `root`, breadth first."""
        if root in self._level:
            return
        self._level[root], self._steps[root] = 0.0, 0
        ahead = [root]
        for contact in ahead:
            for index in self._at.get(contact, ()):
                other = self._other(index, contact)
                if other in self._level:
                    continue
                edge = self._edges[index]
                lost = self.amps[index] * edge.ohm * (1 if edge.a == contact else -1)
                self._level[other] = self._level[contact] - lost
                self._steps[other] = self._steps[contact] + 1
                self._before[other] = index
                ahead.append(other)

    def _run(self) -> None:
        """Take away what ends, again and again; solve the rest."""
        entering = dict(self._entering)
        left = {contact: len(indices) for contact, indices in self._at.items()}
        known = [edge.a == edge.b for edge in self._edges]
        ends = [contact for contact, count in left.items() if count == 1]
        while ends:
            contact = ends.pop()
            index = next((index for index in self._at[contact] if not known[index]), None)
            if index is None:
                continue
            known[index] = True
            other = self._other(index, contact)
            amps = entering.get(contact, 0.0)
            self.amps[index] = amps if self._edges[index].a == contact else -amps
            if amps:
                entering[other] = entering.get(other, 0.0) + amps
            left[contact] -= 1
            left[other] -= 1
            if left[other] == 1:
                ends.append(other)
        rest = [index for index, is_known in enumerate(known) if not is_known]
        for indices in self._networks(rest):
            self._solve(indices, entering)

    def _networks(self, rest: Iterable[int]) -> Iterable[list[int]]:
        """The edges that are left, network by network."""
        todo = set(rest)
        seen: set[str] = set()
        for start in sorted(todo):
            if self._edges[start].a in seen:
                continue
            found: dict[int, None] = {}
            ahead = [self._edges[start].a]
            seen.add(ahead[0])
            for contact in ahead:
                for index in self._at[contact]:
                    if index in todo:
                        found[index] = None
                        other = self._other(index, contact)
                        if other not in seen:
                            seen.add(other)
                            ahead.append(other)
            yield list(found)

    def _solve(self, indices: list[int], entering: Mapping[str, float]) -> None:
        import numpy as np

        nodes: dict[str, int] = {}
        for index in indices:
            nodes.setdefault(self._edges[index].a, len(nodes))
            nodes.setdefault(self._edges[index].b, len(nodes))
        given = np.array([entering.get(contact, 0.0) for contact in nodes])
        if not given.any():
            return
        given -= given.mean()  # what enters leaves, to the last digit
        a = np.array([nodes[self._edges[index].a] for index in indices])
        b = np.array([nodes[self._edges[index].b] for index in indices])
        siemens = np.array([1 / max(self._edges[index].ohm, LEAST_OHM) for index in indices])
        count = len(nodes)
        if count <= MOST_AT_ONCE:
            matrix = np.zeros((count, count))
            np.add.at(matrix, (a, a), siemens)
            np.add.at(matrix, (b, b), siemens)
            np.subtract.at(matrix, (a, b), siemens)
            np.subtract.at(matrix, (b, a), siemens)
            level = np.zeros(count)
            level[1:] = np.linalg.solve(matrix[1:, 1:], given[1:])
        else:
            # conjugate gradients, each step scaled by what is joined to a contact
            scale = np.bincount(a, siemens, count) + np.bincount(b, siemens, count)
            level = np.zeros(count)
            rest = given.copy()
            turned = rest / scale
            way = turned.copy()
            size = rest @ turned
            goal = 1e-20 * size
            for _ in range(20 * count):
                if size <= goal:
                    break
                through = siemens * (way[a] - way[b])
                moved = np.bincount(a, through, count) - np.bincount(b, through, count)
                step = size / (way @ moved)
                level += step * way
                rest -= step * moved
                turned = rest / scale
                before, size = size, rest @ turned
                way = turned + (size / before) * way
        for index, amps in zip(indices, (siemens * (level[a] - level[b])).tolist(), strict=True):
            self.amps[index] = amps
