"""Nets: all contacts that are electrically one, by the wiring alone."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from functools import cached_property
from typing import Generic, TypeVar

from benchcheck.harness.model import Harness, Run
from benchcheck.harness.once import once
from benchcheck.words.contact import contact_key, ref_of

T = TypeVar("T", bound=Hashable)


class Groups(Generic[T]):
    """Things that are joined pairwise and asked for their group (union-find with path halving)."""

    def __init__(self) -> None:
        self._parent: dict[T, T] = {}

    def __contains__(self, item: T) -> bool:
        return item in self._parent

    def add(self, item: T) -> None:
        self._parent.setdefault(item, item)

    def find(self, item: T) -> T:
        parent = self._parent
        while parent[item] != item:
            parent[item] = parent[parent[item]]
            item = parent[item]
        return item

    def join(self, a: T, b: T) -> None:
        self.add(a)
        self.add(b)
        root_a, root_b = self.find(a), self.find(b)
        if root_a != root_b:
            self._parent[root_b] = root_a

    def together(self, a: T, b: T) -> bool:
        return a in self._parent and b in self._parent and self.find(a) == self.find(b)

    def groups(self) -> list[list[T]]:
        found: dict[T, list[T]] = {}
        for item in self._parent:
            found.setdefault(self.find(item), []).append(item)
        return list(found.values())


class Nets:
    """The nets of a harness: runs, bridges, splices and studs joined; parts are *between* nets.

    Contacts without any conductor are in no net (`net_of` gives None). Runs that are only planned are left out;
    `planned` takes them in, for questions about the finished harness on paper. `runs` are those that were joined.
    """

    def __init__(self, harness: Harness, *, planned: bool = False) -> None:
        self.runs = harness.runs if planned else harness.wired_runs
        groups: Groups[str] = Groups()
        for run in self.runs:
            groups.add(run.a)
            if run.b:
                groups.join(run.a, run.b)
        for part in harness.parts:
            groups.add(part.a)
            groups.add(part.b)
        ordered = sorted((sorted(group, key=contact_key) for group in groups.groups()), key=lambda g: contact_key(g[0]))
        self._members: tuple[tuple[str, ...], ...] = tuple(tuple(group) for group in ordered)
        self._net_of = {contact: net for net, group in enumerate(self._members) for contact in group}

    @cached_property
    def ends_by_connector(self) -> Mapping[str, tuple[tuple[str, Run], ...]]:
        """Connector -> the run ends at it."""
        found: dict[str, list[tuple[str, Run]]] = {}
        for run in self.runs:
            for end in run.ends:
                found.setdefault(ref_of(end), []).append((end, run))
        return {ref: tuple(ends) for ref, ends in found.items()}

    def __len__(self) -> int:
        return len(self._members)

    def net_of(self, contact: str) -> int | None:
        """The number of the net that `contact` is in, or None where nothing is wired to it."""
        return self._net_of.get(contact)

    def members(self, net: int) -> tuple[str, ...]:
        """The contacts of a net, in reading order."""
        return self._members[net]

    def together(self, a: str, b: str) -> bool:
        """Whether two contacts are one net."""
        net = self._net_of.get(a)
        return net is not None and net == self._net_of.get(b)

    def all_members(self) -> Iterable[tuple[str, ...]]:
        return self._members


@once
def nets_of(harness: Harness) -> Nets:
    """The nets of the runs that are there, worked out once."""
    return Nets(harness)
