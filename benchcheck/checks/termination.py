"""Termination: the resistance across the bus at every one of its connectors, units out; then of the whole bus, units in.

One 60 ohm resistor reads the same as two of 120 ohm, and an open branch is not seen from elsewhere:
so every connector is measured, and the value is computed from the terminators and the wire between.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.buses import Pair, pairs, terminators
from benchcheck.harness.circuit import CONDUCTING_OHM
from benchcheck.harness.model import Bus
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.bench_state import ALL_OPEN, BenchState
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
            places = pairs(context.harness, bus)
            for place in places:
                yield _step(context, bus, place)
            at_adapter = next((place for place in places if place.connector == bus.adapter_at), None)
            if at_adapter is not None and context.harness.units:
                yield _whole_bus_step(context, bus, at_adapter)

    def fail_reason(self, step: Step, reading: Reading) -> str:
        band = step.band
        if band is None or band.high is None:
            return "not_apart"
        if math.isnan(reading.value) or reading.value > CONDUCTING_OHM:
            return "open"
        return "too_high" if reading.value > band.high else "too_low"


def _step(context: Context, bus: Bus, place: Pair) -> Step:
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
        band=_band(context, bus, place, ALL_OPEN),
    )


def _whole_bus_step(context: Context, bus: Bus, place: Pair) -> Step:
    """Once more with every unit in and the supply off: units that join the bus inside and terminators inside units
    show only then. It stands in the power stage, behind the steps that let the units in."""
    plugged = units_in(context.harness, plug_order(context.harness))
    reached = {place.connector} & plugged.on_unit
    state = replace(plugged, breakout=plugged.breakout | reached, supply_on=False)
    return Step(
        id=f"termination:{bus.name}:units_in",
        check=Termination.name,
        stage=Stage.POWER,
        quantity=Quantity.OHMS,
        state=state,
        question=f"is the whole of {bus.name} terminated as planned, units in, seen from {place.connector}?",
        subject=(bus.name, place.high, place.low),
        red=place.high,
        black=place.low,
        band=_band(context, bus, place, state),
        note="supply off: a meter in ohms reads wrong beside volts",
        settings={"bus": bus.name, "whole_bus": True},
    )


def _band(context: Context, bus: Bus, place: Pair, state: BenchState) -> Band:
    expected = context.circuit(state).ohms(place.high, place.low)
    if math.isinf(expected):
        limit = context.harness.limits.isolation_ohm
        return Band(limit, None, "ohm", "profile limit isolation_ohm: in this state no terminator is on this piece")
    percent, count = TERMINATOR_PERCENT, len(terminators(context.harness, bus))
    inside = ", the units' own terminators and inputs" if state.on_unit else ""
    low, high = expected * (1 - percent / 100), expected * (1 + percent / 100)
    return Band(
        low,
        high,
        "ohm",
        f"computed: of {count} terminators in the harness{inside} and the wire between, what is reached from here gives "
        f"{expected:.1f} ohm; ISO 11898-2 allows each terminator {percent:g} percent (secondary source): "
        f"{low:.1f} to {high:.1f} ohm; wire at {context.harness.ambient_c:g} C",
    )
