"""What of a harness belongs to a CAN bus: its two wires at each connector, its terminators, its units' contacts."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.harness.model import Bus, Harness, Part, PartKind, Role
from benchcheck.harness.nets import Groups
from benchcheck.words.contact import contact_key, ref_of


@dataclass(frozen=True, slots=True)
class Pair:
    """CAN-H and CAN-L at one connector."""

    connector: str
    high: str
    low: str


def wire_contacts(harness: Harness, bus: Bus) -> tuple[frozenset[str], frozenset[str]]:
    """All contacts on the bus's CAN-H and CAN-L wires, through the units that join pairs inside."""
    return _side(harness, bus, Role.CAN_H), _side(harness, bus, Role.CAN_L)


def _side(harness: Harness, bus: Bus, role: Role) -> frozenset[str]:
    groups: Groups[str] = Groups()
    at_connector: dict[str, str] = {}
    for run in harness.runs:
        if run.role is role and run.b:
            groups.join(run.a, run.b)
            for end in run.ends:  # an in and an out contact of one connector are one bus, through the unit
                groups.join(at_connector.setdefault(ref_of(end), end), end)
    for group in groups.groups():
        if any(ref_of(contact) == bus.adapter_at for contact in group):
            return frozenset(group)
    return frozenset()


def pairs(harness: Harness, bus: Bus) -> tuple[Pair, ...]:
    """Every place where both wires of the bus can be touched at one connector.

    A connector with an in pair and an out pair gives two places: the first H with the first L in contact order.
    """
    high, low = wire_contacts(harness, bus)
    found: list[Pair] = []
    for ref in sorted({ref_of(contact) for contact in high | low}):
        highs = sorted((c for c in high if ref_of(c) == ref), key=contact_key)
        lows = sorted((c for c in low if ref_of(c) == ref), key=contact_key)
        found += [Pair(ref, h, low_) for h, low_ in zip(highs, lows, strict=False)]
    return tuple(found)


def terminators(harness: Harness, bus: Bus) -> tuple[Part, ...]:
    """The terminators that are parts of the harness and lie across this bus."""
    high, low = wire_contacts(harness, bus)
    return tuple(
        part
        for part in harness.parts
        if part.kind is PartKind.TERMINATOR
        and ((part.a in high and part.b in low) or (part.a in low and part.b in high))
    )
