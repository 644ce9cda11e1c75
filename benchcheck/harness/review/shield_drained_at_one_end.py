"""A shield is drained at one end, and its cable is to be drained at both."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Drained
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class ShieldDrainedAtOneEnd(Rule):
    code = "shield_drained_at_one_end"
    severity = Severity.FINDING
    title = "A shield that is to be drained at both ends is drained at both"
    why = "Against fast disturbances a shield works only if it is tied at both ends."
    do = "Add the drain at the other end: the ring, shell or stud there as `to`; or change drained of the cable."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for run in view.shields.values():
            cable = view.harness.cables.get(run.cable)
            if cable is not None and cable.drained is Drained.BOTH_ENDS and len(ends := view.drained_ends(run)) == 1:
                text = f"shield {run.wire} of {cable.name} is drained at {ends[0]} only; the cable is to be drained at both ends"
                yield Hit((run.wire, cable.name), run.place, text)
