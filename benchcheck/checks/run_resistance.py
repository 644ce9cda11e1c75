"""Run resistance: is the resistance of a run in band? Asked with four wires, and only of the runs that the profile names.

Continuity asks whether a run goes to the right place, and any meter can tell. Whether a crimp has ten milliohms too many
is another question: leads have a hundred times that, and a meter with two wires proves nothing either way.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind
from benchcheck.harness.model import InBand, Run
from benchcheck.harness.run_interval import RunInterval, run_interval
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import RING, lifted, pin_of, ref_of
from benchcheck.words.meter import MeterSpec, share_of_band
from benchcheck.words.reading import Reading
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict

FOUR_WIRE = "four_wire"  # in the settings of a step
# MIL-STD-202 method 303: the meter's error is at most a tenth of the tolerance.
FINE_SHARE = 0.1
# What lies beside a run and has this many times its ohms takes less of a reading than any band here is wide.
BESIDE_FACTOR = 1000.0


@check_kind
class RunResistance(CheckKind):
    name = "run_resistance"
    stage = Stage.DEAD
    rank = 15
    title = "Resistance of the runs that the profile asks it of, with four wires"
    reasons = {
        "open": "open: nothing joins these two contacts",
        "too_high": "more than a run of this gauge and length with sound joints has; look for a poor crimp, broken strands, a thinner or longer wire",
        "too_low": "less than copper of this gauge and length can have; the wire is thicker or shorter than in the pin table, or something lies beside it",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        for asked in context.harness.in_band:
            for wire in asked.runs:
                run = context.harness.run(wire)
                if run is not None and run in context.harness.wired_runs:
                    yield _step(context, run, asked)

    def measure(self, step: Step) -> Measuring:
        reading = yield Request(step.quantity, step.state, step.red, step.black, four_wire=True)
        return Judged(reading, self.judge(step, reading))

    def judge(self, step: Step, reading: Reading) -> Verdict:
        verdict = super().judge(step, reading)
        four_wire = reading.detail.get("wires") == 4
        if verdict.reason == "meter_cannot_tell" or (verdict.outcome is Outcome.PASS and not four_wire):
            how = "" if four_wire else " with two wires"
            text = f"{reading.text}{how}, ± {reading.uncertainty * 1e3:.3g} mohm: can't tell whether it is in band"
            return Verdict(Outcome.UNSURE, "cannot_resolve", text)
        return verdict

    def blur(self, step: Step, meter: MeterSpec, value: float) -> float:
        return meter.four_wire_uncertainty(value) if meter.four_wire else meter.ohm_uncertainty(value)

    def fail_reason(self, step: Step, reading: Reading) -> str:
        if math.isnan(reading.value):
            return "open"
        return "too_low" if step.band is not None and reading.value < (step.band.low or 0.0) else "too_high"


def _step(context: Context, run: Run, asked: InBand) -> Step:
    alone = run_interval(context.harness, run, asked)
    red, black, state, note = run.a, run.b, ALL_OPEN, "four wires: a current and a sense clip at each end"
    band = Band(alone.low_ohm, alone.high_ohm, "ohm", alone.source)
    beside = context.circuit(ALL_OPEN).ohms_without(run.wire, run.a, run.b)
    if beside < BESIDE_FACTOR * alone.high_ohm:
        end = _end_to_lift(context, run)
        if end:
            lug = lifted(run.wire, end)
            red, black = (lug, run.b) if end == run.a else (run.a, lug)
            state = BenchState(lifted=frozenset({lug}))
            note += f"; {beside:.3g} ohm lies beside it: lift {run.wire} off {end} and clip to its lug"
        else:
            band = _with_beside(alone, beside)
            note += f"; {beside:.3g} ohm lies beside it, and neither end can be lifted: it is in the limit"
    share = share_of_band(band, context.meter.four_wire_uncertainty) if context.meter.four_wire else None
    if share is not None and FINE_SHARE < share <= 1:
        note += f"; the meter's error is {share:.2g} of half the band, MIL-STD-202 method 303 wants {FINE_SHARE:g}"
    return Step(
        id=f"run_resistance:{run.wire}",
        check=RunResistance.name,
        stage=Stage.DEAD,
        quantity=Quantity.OHMS,
        state=state,
        question=f"is the resistance of {run.wire} from {run.a} to {run.b} in band?",
        subject=(run.wire, run.a, run.b),
        red=red,
        black=black,
        band=band,
        note=note,
        settings={FOUR_WIRE: True},
    )


def _with_beside(alone: RunInterval, beside_ohm: float) -> Band:
    low, high = (ohm * beside_ohm / (ohm + beside_ohm) for ohm in (alone.low_ohm, alone.high_ohm))
    source = f"{alone.source}; with {beside_ohm:.4g} ohm beside it: {low * 1e3:.4g} to {high * 1e3:.4g} mohm"
    return Band(low, high, "ohm", source)


def _end_to_lift(context: Context, run: Run) -> str:
    """An end under a nut: a stud or a ring terminal."""
    for end in (run.b, run.a):
        connector = context.harness.connectors.get(ref_of(end))
        if pin_of(end) == RING or (connector is not None and connector.family == "stud"):
            return end
    return ""
