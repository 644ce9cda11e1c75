"""A CAN bus has not exactly two terminators."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Bus, PartKind, PathKind, Unit, UnitPath
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class CanTerminators(Rule):
    code = "can_terminators"
    severity = Severity.FINDING
    title = "Each CAN bus has exactly two terminators, those inside units counted"
    why = "With one the ends reflect, with three the drivers are overloaded; either may work today and fail tomorrow."
    do = "Terminate the two ends of the cable and nothing else; check the bridges that enable terminators inside units."
    source = "ISO 11898-2: the bus is terminated at both ends with its characteristic impedance, nominally 120 ohm"

    def hits(self, view: View) -> Iterator[Hit]:
        for bus in view.harness.buses:
            high, low = view.bus_wires(bus)
            if not high or not low:
                continue  # node_off_bus says so
            found = [*_parts(view, high, low), *_inside_units(view, bus, high, low)]
            if len(found) != 2:
                said = f": {', '.join(found)}" if found else ""
                yield Hit((bus.name,), bus.place, f"{bus.name} has {len(found)} terminators, not 2{said}")


def _parts(view: View, high: frozenset[str], low: frozenset[str]) -> list[str]:
    return [
        part.ref
        for part in view.harness.parts
        if part.kind is PartKind.TERMINATOR and _across(part.a, part.b, high, low)
    ]


def _inside_units(view: View, bus: Bus, high: frozenset[str], low: frozenset[str]) -> list[str]:
    found = []
    for unit in view.harness.units.values():
        for path in unit.type.paths:
            if path.kind is not PathKind.TERMINATOR or not enabled(view, unit, path):
                continue
            if _across(unit.mate(path.a), unit.mate(path.b), high, low):
                found.append(f"inside {unit.ref}")
    return found


def enabled(view: View, unit: Unit, path: UnitPath) -> bool:
    """Whether a path inside a unit is there: fixed, or enabled by a bridge that the harness has."""
    if path.enabled_by is None:
        return True
    one, other = (unit.mate(own) for own in path.enabled_by)
    return bool(one and other) and view.nets.together(one, other)


def _across(a: str, b: str, high: frozenset[str], low: frozenset[str]) -> bool:
    return (a in high and b in low) or (a in low and b in high)
