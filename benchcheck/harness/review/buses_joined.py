"""Two CAN buses are one."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class BusesJoined(Rule):
    code = "buses_joined"
    severity = Severity.FINDING
    title = "No two CAN buses are joined"
    why = (
        "What is meant for one bus is heard on both, at two bit rates neither works, and four terminators are too many."
    )
    do = "Find the run that leads from one bus to the other; compare its contacts with the units' papers."
    source = "common practice, no source"
    lacks = frozenset({Role.CAN_H, Role.CAN_L})

    def hits(self, view: View) -> Iterator[Hit]:
        for first, second, sides, contact in view.buses_joined:
            text = f"{first.name} and {second.name} are one at {view.named(contact)}: {' and '.join(sides)}"
            yield Hit((first.name, second.name, contact), second.place, text)
