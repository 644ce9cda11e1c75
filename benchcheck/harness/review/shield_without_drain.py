"""A shield is drained nowhere."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class ShieldWithoutDrain(Rule):
    code = "shield_without_drain"
    severity = Severity.FINDING
    title = "Every shield is drained somewhere"
    why = "A shield that floats at both ends shields nothing and couples what it picks up into its cores."
    do = "Take its drain to a ring, shell, stud or ground contact at one end."
    source = "common practice, no source"
    lacks = frozenset({Role.SHIELD})

    def hits(self, view: View) -> Iterator[Hit]:
        for run in view.harness.runs:
            if run.role is Role.SHIELD and not view.is_drain(run.a) and not view.is_drain(run.b):
                yield Hit(
                    (run.wire,), run.place, f"shield {run.wire} has no drain: {run.a} is no ground, ring or shell"
                )
        for fault in view.faults:
            if fault.code == self.code:  # its row has no end at all
                yield Hit(fault.names, fault.place, f"shield {fault.names[0]} has no drain: it floats at both ends")
        in_cables = {run.cable for run in view.shields.values()}
        # a cable whose cores name a shield that has no row: that is said there
        unknown = {run.cable for run in view.harness.runs if run.shield and run.shield not in view.shields}
        for cable in view.harness.cables.values():
            if cable.drained is not None and cable.name not in in_cables | unknown:
                text = (
                    f"cable {cable.name} is to be drained at {cable.drained.value.replace('_', ' ')}, and has no shield"
                )
                yield Hit((cable.name,), cable.place, text)
