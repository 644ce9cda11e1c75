"""More than one feed is left to the bench supply."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class TwoBenchFeeds(Rule):
    code = "two_bench_feeds"
    severity = Severity.WARNING
    title = "One feed at most has no converter"
    why = "The bench supply drives the first feed without converter and no other: what hangs on the rest is never powered."
    do = "Name the unit that makes a feed as its converter; test bays with two supplies one feed at a time."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        feeds = [feed for feed in view.harness.feeds if not feed.converter]
        for feed in feeds[1:]:
            text = f"feed '{feed.name}' has no converter, and the bench supply drives '{feeds[0].name}' alone"
            yield Hit((feed.source,), feed.place, text)
