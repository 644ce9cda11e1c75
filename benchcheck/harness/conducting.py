"""Conducting groups: contacts that a meter finds joined by design, units out and every protector and switch in.

Contacts that hang together through little enough are one for the question of what is apart: a short to any of them
is seen from each of them. A part of more ohms parts two groups, since it would hide a short behind it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from benchcheck.harness.circuit import Edge
from benchcheck.harness.model import Harness
from benchcheck.harness.nets import Groups, Nets
from benchcheck.words.contact import contact_key

# A way of up to this part of the isolation limit inside a group leaves shorts up to the rest of it visible
# (this tool's own choice).
ONE_GROUP = 0.02


class Conducting:
    """The groups of a harness, numbered in reading order.

    edges       the network with all connectors open
    at_most_ohm resistors above this join nothing here, but `joined` tells of them
    further     contacts that are groups of their own where nothing is wired to them
    """

    def __init__(self, nets: Nets, edges: Iterable[Edge], at_most_ohm: float, further: Iterable[str] = ()) -> None:
        near: Groups[str] = Groups()
        whole: Groups[str] = Groups()
        for contact in further:
            near.add(contact)
            whole.add(contact)
        for members in nets.all_members():
            for contact in members:
                near.join(members[0], contact)
                whole.join(members[0], contact)
        for edge in edges:
            whole.join(edge.a, edge.b)
            if edge.ohm <= at_most_ohm:
                near.join(edge.a, edge.b)
        ordered = sorted(
            (sorted(group, key=contact_key) for group in near.groups()), key=lambda group: contact_key(group[0])
        )
        self.members: Sequence[tuple[str, ...]] = tuple(tuple(group) for group in ordered)
        self.number: Mapping[str, int] = {c: number for number, group in enumerate(self.members) for c in group}
        self._whole = [whole.find(group[0]) for group in self.members]

    def __len__(self) -> int:
        return len(self.members)

    def joined(self, one: int, other: int) -> bool:
        """Whether anything planned, of whatever ohms, lies between two groups."""
        return self._whole[one] == self._whole[other]

    def joined_to_others(self) -> frozenset[int]:
        """The groups that something planned joins to another group."""
        seen: dict[str, list[int]] = {}
        for number, root in enumerate(self._whole):
            seen.setdefault(root, []).append(number)
        return frozenset(number for group in seen.values() if len(group) > 1 for number in group)


def conducting(harness: Harness, nets: Nets, edges: Iterable[Edge]) -> Conducting:
    """The groups of a harness for its own isolation limit."""
    points = [harness.chassis, *(end for feed in harness.feeds for end in (feed.source, feed.ground))]
    return Conducting(nets, edges, ONE_GROUP * harness.limits.isolation_ohm, points)
