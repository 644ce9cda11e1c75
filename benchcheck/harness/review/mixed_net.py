"""Contacts of one net have roles that don't belong together."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import ref_of


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
            refs = {ref_of(contact) for contact in first.values()}
            exchanged = [(wire, end) for wire, end in sorted(view.net_roles.exchanged) if ref_of(end) in refs]
            more = "".join(f"; has it changed places with {wire} at {end}?" for wire, end in exchanged)
            where = (*first.values(), *(end for _, end in exchanged))
            yield Hit(where, place, f"one net joins what doesn't belong together: {said}{more}")
