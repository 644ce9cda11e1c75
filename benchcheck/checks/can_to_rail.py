"""CAN to rail: neither wire of a bus may be joined to ground or to a feed, but by planned parts."""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.isolation import isolation_step
from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.near import bus_pairs
from benchcheck.words.step import Stage, Step
from benchcheck.words.ways import Isolation


@check_kind
class CanToRail(CheckKind):
    name = "can_to_rail"
    stage = Stage.DEAD
    rank = 50
    title = "CAN-H and CAN-L to ground and to each feed"
    reasons = {"joined": "this bus wire is joined to a rail; frames may still pass, so only the meter shows it"}

    def steps(self, context: Context) -> Iterable[Step]:
        if context.ways.isolation is Isolation.PLUG:
            return  # the rails are in the bundle that each wire of the bus is read against
        for bus in context.harness.buses:
            for pair in bus_pairs(context.harness, bus, context.groups):
                yield isolation_step(self.name, context, pair.red, pair.black, pair.text)
