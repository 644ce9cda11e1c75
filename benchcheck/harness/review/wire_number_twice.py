"""Two conductors have one wire number."""

from __future__ import annotations

from benchcheck.harness.review.rule import TableRule, review_rule


@review_rule
class WireNumberTwice(TableRule):
    code = "wire_number_twice"
    title = "Every wire number is there once"
    why = "Markers at both ends are all that tells conductors apart in the bay, and readings are recorded by them."
    do = "Give one of the two a number of its own, or delete the row that is there twice."
    source = "common practice, no source"
