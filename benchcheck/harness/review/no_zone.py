"""A connector has no zone."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class NoZone(Rule):
    code = "no_zone"
    severity = Severity.WARNING
    title = "Every connector has a zone"
    why = "Steps are ordered so that you move little; a connector without a zone can't be placed."
    do = "Add zone to the connector: any name for the place where it is reached."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for connector in view.harness.connectors.values():
            if not connector.zone and connector.family != "splice":  # a splice lies in the harness
                yield Hit((connector.ref,), connector.place, f"{connector.ref} has no zone")
