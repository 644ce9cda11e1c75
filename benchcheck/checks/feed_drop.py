"""Feed drop: with the unit's own current drawn at its contacts, how much is lost on the way?

A joint of one ohm passes every look with a meter on its ohms range and starves the unit under load. The
same meter reads the source and the contact, so its gain error is common to both and falls out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind, no_reading
from benchcheck.harness.power import feed_state, path_ohm, power_pairs, supply_share
from benchcheck.harness.wire import ALLOWED_DROP, allowed_drop_v
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict

# Lengths are known to some 20 percent and joints scatter; above this a joint is bad (common practice, no source).
SLACK_FACTOR = 1.3
SLACK_V = 0.1
GAIN_V = 0.2  # a contact can't have more volts than the source, but for what two readings scatter
DRAWN_FRACTION = 0.7


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
            way_ohm = path_ohm(context.circuit(state), pair)
            expected_v = pair.load_a * way_ohm
            if math.isinf(expected_v):
                continue
            allowed_v = allowed_drop_v(pair.nominal_v)
            slack_v = expected_v * SLACK_FACTOR + SLACK_V
            high = min(allowed_v, slack_v)
            ruled = "" if pair.nominal_v in ALLOWED_DROP else ", by its smallest ratio"
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
                    -GAIN_V,
                    high,
                    "V",
                    f"computed: {pair.load_a:g} A x {way_ohm:.4f} ohm of wire at {context.harness.ambient_c:g} C, parts and "
                    f"joints, there and back = {expected_v:.3f} V; x {SLACK_FACTOR:g} + {SLACK_V:g} V = {slack_v:.3f} V "
                    f"(common practice); at most {allowed_v:.3f} V of {pair.nominal_v:g} V, AC 43.13-1B table 11-6, "
                    f"continuous{ruled}; not below -{GAIN_V:g} V, for what two readings scatter",
                ),
                note=f"draw {pair.load_a:g} A with a load resistor between {pair.power} and {pair.ground}",
                settings={
                    "feed_low_v": pair.nominal_v * (1 - pair.feed.tolerance_percent / 100),
                    "share_a": supply_share(context.harness, pair),
                    "source": pair.feed.source,
                    "source_ground": pair.feed.ground,
                    "unit": pair.unit,
                    "volt_percent": context.meter.volt_percent,
                    "volt_floor": context.meter.volt_floor_at(pair.nominal_v),
                    "nominal_v": pair.nominal_v,
                },
            )

    def blur(self, step: Step, meter: MeterSpec, value: float) -> float:
        nominal_v = float(str(step.settings["nominal_v"]))
        return abs(value) * meter.volt_percent / 100 + 2 * meter.volt_floor_at(nominal_v)

    def measure(self, step: Step) -> Measuring:
        load_at = (step.red, step.black)
        source, ground = str(step.settings["source"]), str(step.settings["source_ground"])
        there = yield Request(Quantity.VOLTS, step.state, source, ground, step.load_a, load_at)
        here = yield Request(Quantity.VOLTS, step.state, step.red, step.black, step.load_a, load_at)
        drawn = yield Request(Quantity.AMPS, step.state, load_a=step.load_a, load_at=load_at)
        settings = step.settings
        lost = difference(there, here, float(str(settings["volt_percent"])), float(str(settings["volt_floor"])))
        if lost.state is not ReadingState.VALUE:
            return Judged(lost, self.judge(step, lost))
        if drawn.state is not ReadingState.VALUE:
            return Judged(drawn, no_reading(drawn))
        # A drop proves something only while the feed is alive and the load is really drawn.
        share_a = float(str(settings["share_a"]))
        if there.value < float(str(settings["feed_low_v"])):
            return Judged(
                lost, Verdict(Outcome.UNSURE, "feed_dead", f"{there.text} at the source: no feed to judge by")
            )
        if drawn.value + drawn.uncertainty < DRAWN_FRACTION * share_a:
            text = f"{drawn.text} from the supply: the load of {share_a:.2f} A was not drawn"
            return Judged(lost, Verdict(Outcome.UNSURE, "no_load", text))
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
