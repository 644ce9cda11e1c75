"""A part is of a kind that no check proves."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class UnprovedPart(Rule):
    code = "unproved_part"
    severity = Severity.WARNING
    title = "Every part is of a kind that a check proves"
    why = "Relays and diodes conduct in one state only; taken as open, what lies behind them is proved no further than to them."
    do = "Prove it by hand and note how; write a relay that stays closed, or a link in its place, as a switch."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for part in view.harness.parts:
            if not part.kind.conducts_at_rest:
                text = f"no check proves {part.kind.value} {part.ref} between {part.a} and {part.b}"
                yield Hit((part.ref,), part.place, text)
