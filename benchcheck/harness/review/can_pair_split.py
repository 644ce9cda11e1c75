"""CAN-H and CAN-L of one piece of a bus are not in one cable."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class CanPairSplit(Rule):
    code = "can_pair_split"
    severity = Severity.FINDING
    title = "CAN-H and CAN-L run side by side in one cable"
    why = "A pair cancels what it picks up only if both wires pick up the same: twisted, in one jacket."
    do = "Lead both wires through one cable, or correct the cable column."
    source = "ISO 11898-2: a twisted pair of 95 to 140 ohm, nominally 120"
    lacks = frozenset({Role.CAN_H, Role.CAN_L})

    def hits(self, view: View) -> Iterator[Hit]:
        for seen in view.buses:
            for ref, odd in seen.split_pairs:
                which = ", ".join(f"{run.wire} in {'no cable' if not run.cable else run.cable}" for run in odd)
                text = f"{seen.bus.name}: not one pair in one cable at {ref}: {which}"
                yield Hit(tuple(sorted(run.wire for run in odd)), odd[0].place, text)
