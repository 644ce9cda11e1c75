"""A unit needs a run at a contact, and the pin table has none."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Need
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import ref_of


@review_rule
class ForgottenRun(Rule):
    code = "forgotten_run"
    severity = Severity.FINDING
    title = "Every contact that a unit needs has a run"
    why = "A run that was forgotten on paper is not wired either; it shows at power-up, when the covers are on."
    do = "Add the run to the pin table, or make the contact optional in the unit's file."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for unit in view.harness.units.values():
            needed = [entry for entry in unit.type.contacts if entry.need is Need.NEEDED]
            for name in () if len(unit.connectors) == len(unit.type.connectors) else unit.type.connectors:
                count = sum(entry.connector == name for entry in needed)
                if name not in unit.connectors and count:
                    text = f"{unit.ref} {name} mates with no connector, and {count} of its contacts need a run"
                    yield Hit((unit.ref,), unit.place, text)
        misplaced = view.net_roles.misplaced.copy()
        for contact in view.doubt.forgotten({contact: entry for contact, (_, entry) in view.missing.items()}):
            meant = (ref_of(contact), view.missing[contact][1].role)
            if misplaced[meant] > 0:
                misplaced[meant] -= 1  # reported where the run ends instead
                continue
            yield Hit((contact,), view.place_of(contact), f"{view.named(contact)} has no run")
