"""Contacts of one net have roles that don't belong together."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class MixedNet(Rule):
    code = "mixed_net"
    severity = Severity.FINDING
    title = "Contacts of one net belong together: no power on a signal, no bus on a ground"
    why = "Power on a signal contact destroys it; power on a ground is a short; a bus on a ground is dead."
    do = "Find the run that ends in the wrong contact."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for first in view.net_roles.mixed.values():
            said = ", ".join(f"{view.named(contact)} is {carried}" for carried, contact in first.items())
            place = view.place_of(min(first.values(), key=lambda contact: contact not in view.runs_at))
            yield Hit(tuple(first.values()), place, f"one net joins what doesn't belong together: {said}")
