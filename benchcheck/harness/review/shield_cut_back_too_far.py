"""The cores of a cable are bare of its shield for too long."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View

SENSITIVE_MM, ORDINARY_MM = 20.0, 100.0


@review_rule
class ShieldCutBackTooFar(Rule):
    code = "shield_cut_back_too_far"
    severity = Severity.FINDING
    title = "Cores leave their shield only for a short piece at the end"
    why = (
        "Outside of the shield the cores pick up what it keeps off; the piece behind the connector is where it gets in."
    )
    do = "Cut the shield back less, nearer to the contacts."
    source = "NASA-STD-8739.4 Chg 6 table 11-2: 20 mm for interference-sensitive circuits, 100 mm for others"

    def hits(self, view: View) -> Iterator[Hit]:
        for cable in view.harness.cables.values():
            most = SENSITIVE_MM if cable.sensitive else ORDINARY_MM
            if cable.unshielded_mm is not None and cable.unshielded_mm > most:
                kind = "sensitive" if cable.sensitive else "ordinary"
                text = f"{cable.name} is unshielded for {cable.unshielded_mm:g} mm at an end, more than {most:g} mm ({kind} circuits)"
                yield Hit((cable.name,), cable.place, text)
