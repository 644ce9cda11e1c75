"""Supply to ground: nothing but planned parts may join a feed to its ground before power is let in."""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.isolation import isolation_step
from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.near import feed_pairs
from benchcheck.words.step import Stage, Step


@check_kind
class SupplyToGround(CheckKind):
    name = "supply_to_ground"
    stage = Stage.DEAD
    rank = 40
    title = "Each feed to ground and to the other feeds"
    reasons = {"joined": "the feed is joined to something; do not switch on before this is found"}

    def steps(self, context: Context) -> Iterable[Step]:
        # However the network is planned: with less than this between them, power is not let in.
        floor_ohm = context.harness.limits.supply_to_ground_ohm
        for pair in feed_pairs(context.harness):
            yield isolation_step(self.name, context, pair.red, pair.black, pair.text, floor_ohm)
