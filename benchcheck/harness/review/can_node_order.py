"""The nodes of a CAN bus are listed in another order than they are wired in."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class CanNodeOrder(Rule):
    code = "can_node_order"
    severity = Severity.FINDING
    title = "The nodes of a CAN bus are listed in cable order"
    why = "A cut is found by who is still heard: with another order it is looked for in the wrong piece of cable."
    do = "List nodes in the order in which the cable reaches them, from either end."
    source = "common practice, no source"
    lacks = frozenset({Role.CAN_H, Role.CAN_L})

    def hits(self, view: View) -> Iterator[Hit]:
        for seen in view.buses:
            for side, line in seen.lines if seen.is_whole else ():
                at = [line.unit_m[ref] for ref in seen.bus.nodes if ref in line.unit_m]
                if line.ring or at in (sorted(at), sorted(at, reverse=True)):
                    continue
                wired = ", ".join(sorted(seen.bus.nodes, key=lambda ref: line.unit_m.get(ref, 0.0)))
                text = f"{seen.bus.name}, {side}: wired in the order {wired}; listed as {', '.join(seen.bus.nodes)}"
                yield Hit((seen.bus.name,), seen.bus.place, text)
                break  # the other wire runs along it
