"""A run has only one end."""

from __future__ import annotations

from benchcheck.harness.review.rule import TableRule, review_rule


@review_rule
class RunWithOneEnd(TableRule):
    code = "run_with_one_end"
    title = "Every run but a floating shield has two ends"
    why = "Half a run is no run: what it was to join stays apart."
    do = "Fill in the contact at the other end; only a run of role shield may float."
    source = "common practice, no source"
