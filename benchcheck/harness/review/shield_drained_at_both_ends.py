"""A shield is drained at both ends, and its cable is to be drained at one."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Drained
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class ShieldDrainedAtBothEnds(Rule):
    code = "shield_drained_at_both_ends"
    severity = Severity.FINDING
    title = "A shield that is to be drained at one end floats at the other"
    why = "A shield tied at both ends carries the current that flows between the two grounds, along the cores."
    do = "Leave `to` of the shield empty at the end that is to float, or change drained of the cable."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for run in view.shields.values():
            cable = view.harness.cables.get(run.cable)
            if cable is not None and cable.drained is Drained.ONE_END and len(ends := view.drained_ends(run)) > 1:
                text = f"shield {run.wire} of {cable.name} is drained at {' and '.join(ends)}; the cable is to be drained at one end"
                yield Hit((run.wire, cable.name), run.place, text)
