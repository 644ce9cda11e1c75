"""A run ends at a contact that the unit says must have none, or doesn't describe at all."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Need, Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import RING, SHELL, pin_of, ref_of


@review_rule
class UnusedContact(Rule):
    code = "unused_contact"
    severity = Severity.WARNING
    title = "No run ends at a contact that its unit leaves unused or doesn't describe"
    why = "Such a contact may be joined to something inside the unit, or the run belongs one contact further."
    do = "Compare the pin table with the unit's papers; correct the run, or describe the contact in the unit's file."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for contact, runs in view.runs_at.items():
            connector = view.harness.connectors[ref_of(contact)]
            if not connector.unit or pin_of(contact) in (SHELL, RING):
                continue
            if runs[0].role is Role.SHIELD and not view.is_drain(contact):
                continue  # a shield that is drained nowhere is reported as that
            described = view.described.get(contact)
            if described is None:
                text = f"{runs[0].wire} ends at {contact}, which {connector.unit}'s file doesn't describe"
            elif described[1].need is Need.UNUSED:
                text = f"{runs[0].wire} ends at {view.named(contact)}, which is to stay unused"
            else:
                continue
            yield Hit((contact, *(run.wire for run in runs)), runs[0].place, text)
