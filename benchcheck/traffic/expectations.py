"""What each unit is expected to send, out of the profile."""

from __future__ import annotations

from benchcheck.harness.model import Bus, Harness
from benchcheck.traffic.unit_presence import UnitExpectation
from benchcheck.traffic.watch import IdKey

_CLASSIC_BYTES = 8


def expectations(harness: Harness, bus: Bus) -> list[UnitExpectation]:
    """What each unit of a bus is expected to send, by the profile, in cable order."""
    by_unit: dict[str, list[tuple[int, bool, float | None]]] = {node: [] for node in bus.nodes}
    longer: set[IdKey] = set()
    for message in bus.messages:
        by_unit.setdefault(message.sender, []).append((message.can_id, message.extended, message.period_s))
        if message.length > _CLASSIC_BYTES:
            longer.add(IdKey(message.can_id, message.extended))
    found = []
    for name, ids in by_unit.items():
        unit = harness.units.get(name)
        if ids and unit is not None:
            several = frozenset(IdKey(can_id, extended) for can_id, extended, _ in ids) & longer
            found.append(UnitExpectation(name, tuple(ids), unit.type.boot_s, multi_frame=several))
    return found
