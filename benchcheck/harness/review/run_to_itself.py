"""A run begins and ends at the same contact."""

from __future__ import annotations

from benchcheck.harness.review.rule import TableRule, review_rule


@review_rule
class RunToItself(TableRule):
    code = "run_to_itself"
    title = "No run ends where it begins"
    why = "Such a row joins nothing; what it was to join stays apart."
    do = "Correct one of its two contacts."
    source = "common practice, no source"
