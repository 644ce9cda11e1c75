"""A core names a shield that is no run of role shield."""

from __future__ import annotations

from benchcheck.harness.review.rule import TableRule, review_rule


@review_rule
class ShieldUnknown(TableRule):
    code = "shield_unknown"
    title = "Every shield that a core names has a row"
    why = "A shield without a row has no drain that is proved, and the core may lie bare."
    do = "Add a row of role shield with that number, or correct the name."
    source = "common practice, no source"
