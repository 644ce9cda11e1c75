"""A contact holds more conductors than were declared for it."""

from __future__ import annotations

from benchcheck.harness.review.rule import TableRule, review_rule


@review_rule
class ContactUsedTwice(TableRule):
    code = "contact_used_twice"
    title = "No contact holds more conductors than declared"
    why = "Two conductors in one contact join two circuits; where that wasn't meant one of them belongs elsewhere."
    do = "Move the conductor that is in the wrong contact, or add the contact to doubles of its connector."
    source = "common practice, no source"
