"""Whether the way between two contacts goes through a third one, or through a run or part."""

from __future__ import annotations

import math

from benchcheck.harness.circuit import Circuit
from benchcheck.harness.nets import Groups

# A network of more contacts is not solved for this: then whatever lies on a loop of it counts as on the way.
MOST_SOLVED = 1500


class Way:
    """Answers for one contact, or one resistor (run or part), of a circuit.

    A current between two contacts goes through it where its absence would part them, or would change their ohms.
    """

    def __init__(self, circuit: Circuit, contact: str = "", *, edge: str = "") -> None:
        self._contact = contact
        self._circuit = circuit
        cut = [edge] if edge else [found.name for found in circuit.edges_at(contact)]
        self._ends = {end for name in cut if name in circuit.edges for end in _ends(circuit, name)} - {contact}
        self._without = circuit.altered(remove=cut)
        self._parts: Groups[str] = Groups()
        self._sizes: dict[str, int] = {}
        for other in self._without.edges.values():
            self._parts.join(other.a, other.b)
        for member in {end for other in self._without.edges.values() for end in (other.a, other.b)}:
            root = self._parts.find(member)
            self._sizes[root] = self._sizes.get(root, 0) + 1
        roots = [self._root(end) for end in self._ends]
        # pieces that hang together without it: only there can it be one of several ways
        self._loops = {root for root in roots if roots.count(root) > 1}

    def between(self, one: str, other: str) -> bool:
        """Whether what joins the two goes through here. Contacts that nothing joins have no way."""
        if one == other or not self._ends:
            return False
        if self._contact in (one, other):
            return True
        root, far = self._root(one), self._root(other)
        if root != far:
            near = {self._root(end) for end in self._ends}
            return root in near and far in near  # parted by the absence, not before
        if root not in self._loops:
            return False
        if self._sizes.get(root, 0) > MOST_SOLVED:
            return True
        return not math.isclose(self._circuit.ohms(one, other), self._without.ohms(one, other), rel_tol=1e-9)

    def _root(self, contact: str) -> str:
        self._parts.add(contact)
        return self._parts.find(contact)


def _ends(circuit: Circuit, name: str) -> tuple[str, str]:
    edge = circuit.edges[name]
    return edge.a, edge.b
