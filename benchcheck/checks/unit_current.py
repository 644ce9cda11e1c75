"""Unit current: what the supply gives more when one unit goes in, under a current limit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind
from benchcheck.harness.power import is_converter, plug_order, power_pairs, supply_share, units_in
from benchcheck.words.bench_state import BenchState
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict

# A converter idles on a little; its loads come with their own units (common practice, no source).
IDLE_CONVERTER_A = 0.3
FLOOR_A = 0.05
INRUSH = ("peak_a", "peak_of", "peak_within_s", "ramped")  # of the supply's first readings with the unit in


@check_kind
class UnitCurrent(CheckKind):
    name = "unit_current"
    stage = Stage.POWER
    rank = 100
    title = "Current of each unit as it goes in, one at a time"
    reasons = {
        "too_much": "the unit draws more than it should: switch off and look before it is left in",
        "too_little": "the unit draws less than it should: it may not have started, or a feed contact is open",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        harness, order = context.harness, plug_order(context.harness)
        pairs = power_pairs(harness)
        for number, ref in enumerate(order):
            wanted = {pair.power: pair for pair in pairs if pair.unit == ref and pair.load_a > 0}.values()
            percent = harness.limits.unit_current_percent
            if is_converter(harness.units[ref]):
                band = Band(
                    None, IDLE_CONVERTER_A, "A", f"a converter without its loads: at most {IDLE_CONVERTER_A:g} A"
                )
            else:
                amps = sum(supply_share(harness, pair) for pair in wanted)
                slack = amps * percent / 100 + FLOOR_A
                band = Band(
                    max(amps - slack, 0.0),
                    amps + slack,
                    "A",
                    f"unit file: {amps:.2f} A at the supply ± {percent:g} percent and {FLOOR_A:g} A"
                    if wanted
                    else f"the unit file declares no load: at most {FLOOR_A:g} A",
                )
            before = units_in(harness, order[:number])
            yield Step(
                id=f"unit_current:{ref}",
                check=self.name,
                stage=self.stage,
                quantity=Quantity.AMPS,
                state=units_in(harness, order[: number + 1]),
                question=f"does {ref} draw what it should when it goes in?",
                subject=(ref,),
                band=band,
                settings={
                    "unit": ref,
                    "before": before.to_json(),
                    "amp_floor": context.meter.amp_floor,
                    "amp_percent": context.meter.amp_percent,
                },
            )

    def measure(self, step: Step) -> Measuring:
        before = yield Request(Quantity.AMPS, BenchState.from_json(step.settings["before"]))
        if before.state is not ReadingState.VALUE:
            why = f"before {step.subject[0]} goes in: {before.detail.get('why', before.text)}"
            return Judged(before, Verdict(Outcome.UNSURE, "no_reading", why))
        after = yield Request(Quantity.AMPS, step.state)
        if after.state is ReadingState.OVER:
            verdict = self.judge(step, after)
            why = (
                f"{after.detail.get('why', after.text)}: {self.reasons[verdict.reason]}"
                if (verdict.outcome is Outcome.FAIL)
                else verdict.text
            )
            return Judged(after, replace(verdict, text=why))
        if after.state is not ReadingState.VALUE:
            return Judged(after, self.judge(step, after))
        first = {key: value for key, value in after.detail.items() if key in INRUSH}
        more = Reading(
            ReadingState.VALUE,
            "A",
            after.value - before.value,
            # the percent part is common to both readings of one instrument; the counts are not
            abs(after.value - before.value) * float(str(step.settings["amp_percent"])) / 100
            + 2 * float(str(step.settings["amp_floor"])),
            instrument=after.instrument,
            detail={"before_a": before.value, "after_a": after.value, **first},
        )
        return Judged(more, self.judge(step, more))

    def fail_reason(self, step: Step, reading: Reading) -> str:
        high = step.band.high if step.band else None
        much = reading.state is ReadingState.OVER or (high is not None and reading.value > high)
        return "too_much" if much else "too_little"
