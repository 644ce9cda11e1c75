"""Feed volts: units out, does each feed and ground contact have the right volts and polarity?"""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.power import feed_state, power_pairs
from benchcheck.words.reading import Reading
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band


@check_kind
class FeedVolts(CheckKind):
    name = "feed_volts"
    stage = Stage.POWER
    rank = 70
    title = "Volts and polarity at each feed and ground contact, units out"
    reasons = {
        "no_volts": "no volts here; look at the protector, the run, the ground return, the converter",
        "reversed": "plus and minus are exchanged: do not plug the unit in",
        "wrong_volts": "not the volts this contact wants: do not plug the unit in",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        for pair in power_pairs(context.harness):
            slack = pair.nominal_v * pair.feed.tolerance_percent / 100
            yield Step(
                id=f"feed_volts:{pair.power}:{pair.ground}",
                check=self.name,
                stage=self.stage,
                quantity=Quantity.VOLTS,
                state=feed_state(context.harness, pair.feed),
                question=f"does {pair.unit} get {pair.nominal_v:g} V at {pair.power} against {pair.ground}?",
                subject=(pair.unit, pair.power, pair.ground, pair.feed.name),
                red=pair.power,
                black=pair.ground,
                band=Band(
                    pair.nominal_v - slack,
                    pair.nominal_v + slack,
                    "V",
                    f"profile: {pair.feed.name}, {pair.nominal_v:g} V ± {pair.feed.tolerance_percent:g} percent",
                ),
                settings={"feed": pair.feed.name, "unit": pair.unit},
            )

    def fail_reason(self, step: Step, reading: Reading) -> str:
        nominal = (step.band.low or 0.0) if step.band else 0.0
        if reading.value < -0.25 * nominal:
            return "reversed"
        return "no_volts" if abs(reading.value) < 0.25 * nominal else "wrong_volts"
