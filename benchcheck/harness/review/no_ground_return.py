"""The current of a unit doesn't get back to its feed."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class NoGroundReturn(Rule):
    code = "no_ground_return"
    severity = Severity.FINDING
    title = "The ground of every unit that is fed reaches the ground of its feed"
    why = "Without a way back nothing works; with one through a shield or the structure it works until that is lifted."
    do = "Add the run from the unit's ground to that of its feed, or correct ground of the feed in harness.toml."
    source = "common practice, no source"
    lacks = frozenset({Role.GROUND})

    def hits(self, view: View) -> Iterator[Hit]:
        for feed, units, all_of_them in view.not_returned:
            if all_of_them:
                text = f"feed '{feed.name}': its ground {feed.ground} is joined to no ground of {', '.join(units)}"
                yield Hit((feed.ground,), feed.place, text)
                continue
            for ref in units:
                text = f"no ground of {ref} reaches {feed.ground}, the ground of its feed '{feed.name}'"
                yield Hit((ref, *view.grounds[ref]), view.place_of(view.grounds[ref][0]), text)
