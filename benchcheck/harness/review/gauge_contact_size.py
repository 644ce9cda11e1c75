"""A conductor is too thick or too thin for the contact that it is crimped into."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.connector.contact_gauges import CONTACT_GAUGES_SOURCE, gauges_of
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.harness.wire import awg_text


@review_rule
class GaugeContactSize(Rule):
    code = "gauge_contact_size"
    severity = Severity.FINDING
    title = "A conductor's gauge fits the size of its contact"
    why = "A strand too thick doesn't go into the barrel whole; one too thin is not held by the crimp and pulls out."
    do = "Use another gauge for the end, or a contact of another size; correct contact_size where that is wrong."
    source = CONTACT_GAUGES_SOURCE

    def hits(self, view: View) -> Iterator[Hit]:
        for contact, runs in view.runs_at.items():
            range_ = gauges_of(view.size_of(contact))
            if range_ is None:
                continue
            thickest, thinnest = range_
            for run in runs:
                # of several conductors each may be thinner than one alone must be
                if run.awg is None or (thickest <= run.awg and (run.awg <= thinnest or len(runs) > 1)):
                    continue
                held = f"AWG {awg_text(thickest)} to {awg_text(thinnest)}"
                text = f"{run.wire} is AWG {awg_text(run.awg)}; {contact} is of size {view.size_of(contact)} and holds {held}"
                yield Hit((contact, run.wire), run.place, text)
