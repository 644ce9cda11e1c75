"""A bridge joins contacts of two connectors."""

from __future__ import annotations

from benchcheck.harness.review.rule import TableRule, review_rule


@review_rule
class BridgeBetweenConnectors(TableRule):
    code = "bridge_between_connectors"
    title = "A bridge joins two contacts of one connector"
    why = (
        "A bridge is a loop of wire behind one connector; what leads to another is a run, with a length "
        "and a way of its own."
    )
    do = "Correct the contact, or give the row the role of what it carries."
    source = "common practice, no source"
