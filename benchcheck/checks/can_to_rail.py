"""CAN to rail: neither wire of a bus may be joined to ground or to a feed, but by planned parts."""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.isolation import isolation_step
from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.buses import pairs
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.step import Stage, Step


@check_kind
class CanToRail(CheckKind):
    name = "can_to_rail"
    stage = Stage.DEAD
    rank = 50
    title = "CAN-H and CAN-L to ground and to each feed"
    reasons = {"joined": "this bus wire is joined to a rail; frames may still pass, so only the meter shows it"}

    def steps(self, context: Context) -> Iterable[Step]:
        circuit = context.circuit(ALL_OPEN)
        rails = [(context.harness.chassis, "ground")]
        rails += [(feed.source, feed.name) for feed in context.harness.feeds]
        for bus in context.harness.buses:
            # Open units may leave the bus in pieces: each piece is measured once.
            done: set[frozenset[str]] = set()
            for place in pairs(context.harness, bus):
                piece = circuit.component(place.high) | circuit.component(place.low)
                if piece not in done:
                    done.add(piece)
                    for wire, name in ((place.high, "CAN-H"), (place.low, "CAN-L")):
                        for rail, what in rails:
                            yield isolation_step(self.name, context, wire, rail, f"{bus.name} {name} to {what}")
