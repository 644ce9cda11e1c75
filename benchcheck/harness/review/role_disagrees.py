"""The pin table gives a run another role than the unit's file gives the contact."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View

# the role of a run as the unit at its other end sees it
_SEEN_FROM_TO = {Role.RS232_TX: Role.RS232_RX, Role.RS232_RX: Role.RS232_TX}
# a drain may end at a ground contact
_ALSO = {Role.SHIELD: frozenset({Role.SHIELD, Role.GROUND})}


@review_rule
class RoleDisagrees(Rule):
    code = "role_disagrees"
    severity = Severity.FINDING
    title = "A run has the role that the unit's file gives its contact"
    why = "The unit's file wins: the run is tested for what the unit says. One of the two is wrong about the wiring."
    do = "Look the contact up in the unit's papers; correct the role or the contact in the pin table, or the unit's file."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for run in view.harness.runs:
            if run.role is Role.BRIDGE:
                continue
            from_unit = view.role_at(run.a) is not None
            for end, role in ((run.a, run.role), (run.b, _SEEN_FROM_TO.get(run.role, run.role))):
                says = view.role_at(end)
                if says is None or says in _ALSO.get(role, {role}):
                    continue
                if end == run.b and not from_unit and says is run.role:
                    continue  # no unit at `from`: the role may be written as the unit at `to` sees it
                text = f"{run.wire} is {run.role.value}, which makes {view.named(end)} {role.value}; its unit says {says.value}"
                yield Hit((run.wire, end), run.place, text)
