"""A shield is drained nowhere."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import RING, SHELL, pin_of

_DRAINS = frozenset({Role.GROUND, Role.SHIELD})


@review_rule
class ShieldWithoutDrain(Rule):
    code = "shield_without_drain"
    severity = Severity.FINDING
    title = "Every shield is drained somewhere"
    why = "A shield that floats at both ends shields nothing and couples what it picks up into its cores."
    do = "Take its drain to a ring, shell, stud or ground contact at one end."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for run in view.harness.runs:
            if run.role is Role.SHIELD and not self._is_drained(view, run.a):
                yield Hit(
                    (run.wire,), run.place, f"shield {run.wire} has no drain: {run.a} is no ground, ring or shell"
                )

    def _is_drained(self, view: View, contact: str) -> bool:
        net = view.nets.net_of(contact)
        return net is not None and any(
            pin_of(member) in (RING, SHELL) or self._is_ground(view, member) for member in view.nets.members(net)
        )

    def _is_ground(self, view: View, contact: str) -> bool:
        connector = view.harness.connectors[contact.partition("-")[0]]
        return connector.family == "stud" or contact == view.harness.chassis or view.role_at(contact) in _DRAINS
