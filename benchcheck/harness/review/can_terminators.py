"""A CAN bus has not exactly two terminators."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
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
    lacks = frozenset({Role.CAN_H, Role.CAN_L, Role.BRIDGE})

    def hits(self, view: View) -> Iterator[Hit]:
        for seen in view.buses:
            if not seen.is_whole or seen.bridge_astray:
                continue  # other rules say so
            found = [terminator.name for terminator in seen.terminators]
            if len(found) != 2:
                said = f": {', '.join(found)}" if found else ""
                count = f"{len(found) or 'no'} terminator{'' if len(found) == 1 else 's'}"
                text = f"{seen.bus.name} has {count}, not 2{said}"
                yield Hit((seen.bus.name,), seen.bus.place, text)
