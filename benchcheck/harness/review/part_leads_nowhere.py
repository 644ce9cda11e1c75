"""A protector or switch ends at a terminal or splice with nothing else on it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from benchcheck.harness.model import PartKind, Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import ref_of


@review_rule
class PartLeadsNowhere(Rule):
    code = "part_leads_nowhere"
    severity = Severity.WARNING
    title = "Every protector and switch leads on from a splice or terminal"
    why = "A protector with nothing behind it is a spare, or the run that it was to protect begins in front of it."
    do = "Look where the run begins that belongs behind it; take a spare out of harness.toml until it is used."
    source = "common practice, no source"
    lacks = frozenset(Role)

    def hits(self, view: View) -> Iterator[Hit]:
        harness = view.harness
        if view.missing or view.not_fed or view.not_returned:
            return  # what leads to it may be reported as that
        ends = Counter(end for part in harness.parts for end in (part.a, part.b))
        meant = {end for feed in harness.feeds for end in (feed.source, feed.ground)}
        for part in harness.parts:
            for end in (part.a, part.b) if part.kind in (PartKind.PROTECTOR, PartKind.SWITCH) else ():
                family = harness.connectors[ref_of(end)].family
                if (
                    family in ("splice", "terminals")
                    and ends[end] == 1
                    and end not in view.runs_at
                    and end not in meant
                ):
                    text = f"{part.kind.value} {part.ref} ends at {end}, and nothing goes on from there"
                    yield Hit((part.ref, end), part.place, text)
