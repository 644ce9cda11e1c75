"""A bridge joins contacts of different role."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class BridgeRoles(Rule):
    code = "bridge_roles"
    severity = Severity.FINDING
    title = "A bridge joins two contacts of the same role"
    why = "A bridge one contact off straps an option to a live wire."
    do = "Look both contacts up in the unit's papers."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for run in view.harness.runs:
            if run.role is not Role.BRIDGE:
                continue
            a, b = view.role_at(run.a), view.role_at(run.b)
            if a is not None and b is not None and a is not b:
                text = f"bridge {run.wire} joins {view.named(run.a)}, {a.value}, to {view.named(run.b)}, {b.value}"
                yield Hit((run.wire,), run.place, text)
