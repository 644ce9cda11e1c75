"""CAN-H of one unit is joined to CAN-L of another."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class CanPairCrossed(Rule):
    code = "can_pair_crossed"
    severity = Severity.FINDING
    title = "CAN-H goes to CAN-H and CAN-L to CAN-L"
    why = "A node whose pair is crossed holds the bus at a fixed level for everybody."
    do = "Exchange the two contacts at one end of the pair."
    source = "ISO 11898-2: CAN-H is the line above 2.5 V in the dominant state, CAN-L the one below"

    def hits(self, view: View) -> Iterator[Hit]:
        for high, low in view.net_roles.pair_crossed.values():
            text = f"{view.named(high)} is CAN-H and {view.named(low)} is CAN-L, and they are one net"
            yield Hit((high, low), view.place_of(low), text)
