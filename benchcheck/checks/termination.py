"""Termination: the resistance across the bus at every one of its connectors, units out.

One 60 ohm resistor reads the same as two of 120 ohm, and an open branch is not seen from elsewhere:
so every connector is measured, and the value is computed from the terminators and the wire between.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.buses import Pair, pairs, terminators
from benchcheck.harness.circuit import CONDUCTING_OHM
from benchcheck.harness.model import Bus
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.reading import Reading
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band

# ISO 11898-2 allows each terminator 108 to 132 ohm (from a secondary page): 10 percent either way.
TERMINATOR_PERCENT = 10.0


@check_kind
class Termination(CheckKind):
    name = "termination"
    stage = Stage.DEAD
    rank = 60
    title = "Bus termination at every connector of the bus"
    reasons = {
        "too_high": "a terminator is missing, or the bus is open between here and one end",
        "too_low": "there is one terminator too many, or CAN-H and CAN-L are joined",
        "open": "no terminator is reached from here: the bus is open on both sides",
        "not_apart": "this piece of the bus has no terminator, yet its two wires are joined",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        for bus in context.harness.buses:
            for place in pairs(context.harness, bus):
                yield _step(context, bus, place)

    def fail_reason(self, step: Step, reading: Reading) -> str:
        band = step.band
        if band is None or band.high is None:
            return "not_apart"
        if math.isnan(reading.value) or reading.value > CONDUCTING_OHM:
            return "open"
        return "too_high" if reading.value > band.high else "too_low"


def _step(context: Context, bus: Bus, place: Pair) -> Step:
    expected = context.circuit(ALL_OPEN).ohms(place.high, place.low)
    count = len(terminators(context.harness, bus))
    if math.isinf(expected):
        limit = context.harness.limits.isolation_ohm
        band = Band(limit, None, "ohm", "profile limit isolation_ohm: with units out no terminator is on this piece")
    else:
        percent = TERMINATOR_PERCENT
        band = Band(
            expected * (1 - percent / 100),
            expected * (1 + percent / 100),
            "ohm",
            f"computed: {count} terminators and the wire between give {expected:.1f} ohm here; "
            f"ISO 11898-2 allows each terminator {percent:g} percent",
        )
    return Step(
        id=f"termination:{place.high}:{place.low}",
        check=Termination.name,
        stage=Stage.DEAD,
        quantity=Quantity.OHMS,
        state=ALL_OPEN,
        question=f"is {bus.name} terminated as planned, seen from {place.connector}?",
        subject=(bus.name, place.high, place.low),
        red=place.high,
        black=place.low,
        band=band,
    )
