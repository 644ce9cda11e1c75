"""The drain lead of a cable is too long."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View

SENSITIVE_MM, ORDINARY_MM = 40.0, 150.0


@review_rule
class DrainTooLong(Rule):
    code = "drain_too_long"
    severity = Severity.FINDING
    title = "A drain lead is short"
    why = "A long drain lead is an inductance between shield and ground: what comes fast doesn't get past it."
    do = "Shorten the drain, or bring the ring nearer."
    source = "NASA-STD-8739.4 Chg 6 table 11-2: 40 mm for interference-sensitive circuits, 150 mm for others"

    def hits(self, view: View) -> Iterator[Hit]:
        for cable in view.harness.cables.values():
            most = SENSITIVE_MM if cable.sensitive else ORDINARY_MM
            if cable.drain_mm is not None and cable.drain_mm > most:
                kind = "sensitive" if cable.sensitive else "ordinary"
                text = (
                    f"{cable.name} has a drain lead of {cable.drain_mm:g} mm, more than {most:g} mm ({kind} circuits)"
                )
                yield Hit((cable.name,), cable.place, text)
