"""The pin table gives a run another role than the unit's file gives the contact."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.reading.read_pins import SEEN_FROM_TO
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class RoleDisagrees(Rule):
    code = "role_disagrees"
    severity = Severity.FINDING
    title = "A run has the role that the unit's file gives its contact"
    why = "The unit's file wins: the run is tested for what the unit says. One of the two is wrong about the wiring."
    do = "Look the contact up in the unit's papers; correct the role or the contact in the pin table, or the unit's file."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for run, end, says in view.net_roles.disagreeing:
            if (run.wire, end) in view.net_roles.exchanged:
                continue  # told once, where the other of the two is
            role = SEEN_FROM_TO.get(run.role, run.role) if end == run.b else run.role
            text = f"{run.wire} is {run.role.value}, which makes {view.named(end)} {role.value}; its unit says {says.value}"
            yield Hit((run.wire, end), run.place, text)
