"""CAN-H of one unit is joined to CAN-L of another."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
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
        for _, entries in view.unit_nets():
            high = [contact for contact, _, entry in entries if entry.role is Role.CAN_H]
            low = [contact for contact, _, entry in entries if entry.role is Role.CAN_L]
            if high and low:
                runs = view.runs_at.get(low[0]) or view.runs_at.get(high[0]) or ()
                place = runs[0].place if runs else view.harness.units[entries[0][1].ref].place
                text = f"{view.named(high[0])} is CAN-H and {view.named(low[0])} is CAN-L, and they are one net"
                yield Hit((high[0], low[0]), place, text)
