"""Two feeds drive one net."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class FeedsJoined(Rule):
    code = "feeds_joined"
    severity = Severity.FINDING
    title = "No two feeds are joined"
    why = "Two supplies that drive one wire feed each other; the weaker one, or what hangs on it, burns."
    do = "Find the run that joins them; feeds are combined through diodes or a switch that breaks before it makes."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for feeds in view.feeds_by_group.values():
            for first, second in pairwise(feeds):
                text = (
                    f"feeds '{first.name}' and '{second.name}' are joined: {first.source} and {second.source} are one"
                )
                yield Hit((first.source, second.source), second.place, text)
        for feed in view.harness.feeds:
            if view.conducting.together(feed.source, feed.ground) and not view.nets.together(feed.source, feed.ground):
                text = f"feed '{feed.name}' is shorted: {feed.source} and {feed.ground} are one"
                yield Hit((feed.source, feed.ground), feed.place, text)
