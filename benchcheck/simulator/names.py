"""Which contacts a harness has: every contact, shell, ring, stud and splice by its name."""

from __future__ import annotations

from benchcheck.harness.model import Connector, Harness
from benchcheck.words.contact import RING, SHELL, join, ref_of

POINTS = ("stud", "splice")  # families that are one point: the name has no dash


def contacts_of(connector: Connector) -> tuple[str, ...]:
    """The full names of a connector's contacts, without shell and ring."""
    if connector.family in POINTS:
        return (connector.ref,)
    return tuple(join(connector.ref, pin) for pin in connector.contacts)


def all_contacts(harness: Harness) -> frozenset[str]:
    """Everything that a probe can be put on, lifted lugs apart."""
    found: set[str] = set()
    for connector in harness.connectors.values():
        found.update(contacts_of(connector))
        if connector.has_shell and connector.family not in POINTS:
            found.add(join(connector.ref, SHELL))
            found.add(join(connector.ref, RING))
    for run in harness.runs:
        found.update(run.ends)
    for part in harness.parts:
        found.update((part.a, part.b))
    return frozenset(found)


def holder_of(harness: Harness, contact: str) -> Connector | None:
    """The connector, stud or splice that `contact` belongs to by its name."""
    return harness.connectors.get(ref_of(contact))
