"""A run has no gauge or length."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View

_SHORT = frozenset({Role.BRIDGE, Role.SHIELD})


@review_rule
class NoGauge(Rule):
    code = "no_gauge"
    severity = Severity.WARNING
    title = "Every run has its gauge and length"
    why = "Without them neither the resistance that a reading must have nor the voltage drop can be computed."
    do = "Fill in awg and length_m; a length within a tenth is good enough."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for run in view.harness.runs:
            if run.role in _SHORT:
                continue
            missing = [] if run.awg is not None or run.role is Role.COAX else ["awg"]  # coax has a type, not a gauge
            missing += [] if run.length_m is not None else ["length_m"]
            if missing:
                yield Hit((run.wire,), run.place, f"{run.wire} has no {' and no '.join(missing)}")
