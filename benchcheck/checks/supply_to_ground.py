"""Supply to ground: nothing may join a feed to its ground before power is let in."""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.isolation import isolation_step
from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.words.step import Stage, Step


@check_kind
class SupplyToGround(CheckKind):
    name = "supply_to_ground"
    stage = Stage.DEAD
    rank = 40
    title = "Each feed to ground and to the other feeds"
    reasons = {"joined": "the feed is joined to something; do not switch on before this is found"}

    def steps(self, context: Context) -> Iterable[Step]:
        feeds = context.harness.feeds
        for number, feed in enumerate(feeds):
            yield isolation_step(self.name, context, feed.source, feed.ground, f"{feed.name} to its ground")
            for other in feeds[number + 1 :]:
                yield isolation_step(self.name, context, feed.source, other.source, f"{feed.name} to {other.name}")
