"""Feed drop: with the unit's own current drawn at its contacts, how much is lost on the way?

A joint of one ohm passes every look with a meter on its ohms range and starves the unit under load. The
same meter reads the source and the contact, so its gain error is common to both and falls out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind
from benchcheck.harness.power import feed_state, path_ohm, power_pairs
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band

# AC 43.13-1B Table 11-6, continuous: 1 V of 28 V and 0.5 V of 14 V (from memory), taken in proportion.
ALLOWED_FRACTION = 1 / 28
# Lengths are known to some 20 percent and joints scatter; above this a joint is bad (common practice, no source).
SLACK_FACTOR = 1.3
SLACK_V = 0.1


@check_kind
class FeedDrop(CheckKind):
    name = "feed_drop"
    stage = Stage.POWER
    rank = 90
    title = "Voltage drop of each feed and its return under the declared load, units out"
    reasons = {"too_much": "too much is lost under load: a poor crimp or joint, a thin or long wire, a worn protector"}

    def steps(self, context: Context) -> Iterable[Step]:
        for pair in power_pairs(context.harness):
            if pair.load_a <= 0:
                continue
            state = feed_state(context.harness, pair.feed)
            expected_v = pair.load_a * path_ohm(context.circuit(state), pair)
            if math.isinf(expected_v):
                continue
            allowed_v = pair.nominal_v * ALLOWED_FRACTION
            high = min(allowed_v, expected_v * SLACK_FACTOR + SLACK_V)
            yield Step(
                id=f"feed_drop:{pair.power}:{pair.ground}",
                check=self.name,
                stage=self.stage,
                quantity=Quantity.VOLTS,
                state=state,
                question=f"how many volts are lost to {pair.unit} at {pair.power} with {pair.load_a:g} A drawn there?",
                subject=(pair.unit, pair.power, pair.ground, pair.feed.name),
                red=pair.power,
                black=pair.ground,
                load_a=pair.load_a,
                band=Band(
                    None,
                    high,
                    "V",
                    f"computed: {pair.load_a:g} A through wire, parts and joints drops {expected_v:.3f} V, "
                    f"times {SLACK_FACTOR:g} plus {SLACK_V:g} V; at most {allowed_v:.2f} V by AC 43.13-1B in proportion",
                ),
                note=f"draw {pair.load_a:g} A with a load resistor between {pair.power} and {pair.ground}",
                settings={
                    "source": pair.feed.source,
                    "source_ground": pair.feed.ground,
                    "unit": pair.unit,
                    "volt_percent": context.meter.volt_percent,
                    "volt_floor": context.meter.volt_floor,
                },
            )

    def measure(self, step: Step) -> Measuring:
        load_at = (step.red, step.black)
        source, ground = str(step.settings["source"]), str(step.settings["source_ground"])
        there = yield Request(Quantity.VOLTS, step.state, source, ground, step.load_a, load_at)
        here = yield Request(Quantity.VOLTS, step.state, step.red, step.black, step.load_a, load_at)
        lost = difference(
            there, here, float(str(step.settings["volt_percent"])), float(str(step.settings["volt_floor"]))
        )
        return Judged(lost, self.judge(step, lost))


def difference(first: Reading, second: Reading, volt_percent: float, volt_floor: float) -> Reading:
    """First minus second, in volts, read with one meter in one range.

    The meter's gain error is common to both readings, so its percent part shrinks with the difference;
    its counts are not, and stay twice.
    """
    for reading in (first, second):
        if reading.state is not ReadingState.VALUE:
            return reading
    value = first.value - second.value
    return Reading(
        ReadingState.VALUE,
        "V",
        value,
        abs(value) * volt_percent / 100 + 2 * volt_floor,
        instrument=second.instrument,
        detail={"from_v": first.value, "to_v": second.value},
    )
