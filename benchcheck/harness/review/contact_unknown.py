"""A run ends at a contact that its connector doesn't have, or at a connector that isn't there."""

from __future__ import annotations

from benchcheck.harness.review.rule import TableRule, review_rule


@review_rule
class ContactUnknown(TableRule):
    code = "contact_unknown"
    title = "Every run ends at contacts that exist"
    why = "A run to a contact that isn't there is wired to the next best one, or not at all."
    do = "Correct the contact in the pin table, or add the connector to harness.toml."
    source = "common practice, no source"
