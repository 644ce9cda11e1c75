"""The two terminators of a CAN bus are not at its two ends."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from benchcheck.harness.can_line import Line, longest_branch_m
from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View

SLACK_M = 1e-6  # lengths add up to the last digit only


@review_rule
class CanTerminatorsNotAtEnds(Rule):
    code = "can_terminators_not_at_ends"
    severity = Severity.FINDING
    title = "The two terminators of a CAN bus sit at its two ends"
    why = "What lies beyond a terminator is an open end that reflects, and the resistance reads right all the same."
    do = "Move the terminator to the end of the line, behind the last node; check which unit has its own switched on."
    source = "ISO 11898-2: the bus is terminated at both ends with its characteristic impedance, nominally 120 ohm"
    lacks = frozenset({Role.CAN_H, Role.CAN_L, Role.BRIDGE})

    def hits(self, view: View) -> Iterator[Hit]:
        for seen in view.buses:
            if not seen.is_whole or seen.bridge_astray or len(seen.terminators) != 2:
                continue
            for side, line in seen.lines:
                high = side == "CAN-H"
                at = [terminator.high if high else terminator.low for terminator in seen.terminators]
                bare = _bare_ends(line, at, longest_branch_m(seen.bus))
                if bare:
                    said = " and ".join(
                        f"{terminator.name} at {where}" for terminator, where in zip(seen.terminators, at, strict=True)
                    )
                    text = f"{seen.bus.name}, {side}: no terminator at its end {' nor '.join(map(view.named, bare))}; there are {said}"
                    yield Hit((seen.bus.name, *bare), seen.bus.place, text)
                    break  # the other wire runs along it


def _bare_ends(line: Line, terminators: list[str], most_m: float) -> list[str]:
    """The ends of a line with no terminator before the first node from there, and within the length of a stub."""
    if len(line.ends) != 2:
        return []
    bare = []
    for end, origin in zip(line.ends, (0.0, line.length_m), strict=True):
        nearest = min(
            (abs(line.at_m[contact] - origin) for contact in terminators if contact in line.at_m), default=inf
        )
        first_node = min((abs(at - origin) for at in line.unit_m.values()), default=inf)
        if nearest > min(first_node, most_m) + SLACK_M:
            bare.append(end)
    return bare
