"""A double contact is declared that holds fewer than two conductors."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import join


@review_rule
class NeedlessDouble(Rule):
    code = "needless_double"
    severity = Severity.WARNING
    title = "A contact that is declared double holds two conductors"
    why = "Where two conductors were meant and one is in the table, a run was forgotten or ends elsewhere."
    do = "Add the run that is missing, or take the contact out of doubles."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for connector in view.harness.connectors.values():
            for pin in sorted(connector.doubles):
                contact = join(connector.ref, pin)
                runs = view.runs_at.get(contact, ())
                if len(runs) < 2:
                    said = f"only {runs[0].wire}" if runs else "no run"
                    text = f"{contact} is declared double and holds {said}"
                    yield Hit((contact,), connector.place, text)
