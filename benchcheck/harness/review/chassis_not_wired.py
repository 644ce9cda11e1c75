"""No run reaches the contact that is the equipment's ground."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import ref_of


@review_rule
class ChassisNotWired(Rule):
    code = "chassis_not_wired"
    severity = Severity.FINDING
    title = "A run ends at the chassis contact"
    why = "Everything is proved apart from a contact that is joined to nothing, so a fault to ground would pass."
    do = "Add the run that bonds it, or name the stud that the grounds go to as chassis in harness.toml."
    source = "common practice, no source"
    lacks = frozenset(Role)

    def hits(self, view: View) -> Iterator[Hit]:
        chassis = view.harness.chassis
        if not view.is_wired(chassis):
            connector = view.harness.connectors[ref_of(chassis)]
            yield Hit((chassis,), connector.place, f"no run reaches {chassis}, the chassis")
