"""Continuity: does each run, bridge and drain go where the pin table says?"""

from __future__ import annotations

import math
from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind
from benchcheck.harness.circuit import run_ohm
from benchcheck.harness.model import Harness, Role, Run
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import RING, lifted, pin_of, ref_of
from benchcheck.words.reading import Reading
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict

# What a good run may read above its computed value: touch of the probes, a tired test lead
# (common practice, no source). Continuity is the lenient question; a milliohm joint is not judged here.
ALLOWANCE_OHM = 2.0
UNRESOLVED = "unresolved"


@check_kind
class Continuity(CheckKind):
    name = "continuity"
    stage = Stage.DEAD
    rank = 10
    title = "Continuity of each run, bridge and drain"
    reasons = {
        "open": "open: nothing joins these two contacts; look for an unseated or uncrimped contact, a wrong cavity, a cut wire",
        "too_high": "connected, but far above a run of this gauge and length; it may go another way than planned",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        for run in context.harness.wired_runs:
            if run.b:
                yield _step(context, run)

    def measure(self, step: Step) -> Measuring:
        judged = yield from super().measure(step)
        if step.settings.get(UNRESOLVED) and judged.verdict.outcome is Outcome.PASS:
            text = f"can't prove as wired: {step.note}"
            return Judged(judged.reading, Verdict(Outcome.UNSURE, "cannot_prove", text))
        return judged

    def fail_reason(self, step: Step, reading: Reading) -> str:
        return "open" if math.isnan(reading.value) or reading.value > 1e5 else "too_high"


def _step(context: Context, run: Run) -> Step:
    what = {Role.BRIDGE: "bridge", Role.SHIELD: "drain"}.get(run.role, "run")
    red, black, state, note, unresolved = run.a, run.b, ALL_OPEN, "", False
    with_run, without = _expected(context, run)
    high = with_run + ALLOWANCE_OHM
    gauge = f"AWG {run.awg}" if run.awg is not None else "gauge assumed"
    length = f"{run.length_m:g} m" if run.length_m is not None else "length assumed"
    wire = f"computed: {gauge}, {length} at {context.harness.ambient_c:g} C"
    source = f"{wire} and what lies beside it: {with_run:.3f} ohm; {_allowance(high)}"
    if not told_apart(context, with_run, without):
        end = _end_to_lift(context.harness, run)
        others = f"another path of {without:.3g} ohm hides it"
        if end:
            # Lifted, the run hangs between its lug and its other end alone, and nothing can hide it.
            lug = lifted(run.wire, end)
            red, black = (lug, run.b) if end == run.a else (run.a, lug)
            state = BenchState(lifted=frozenset({lug}))
            note = f"{others}: lift {run.wire} off {end} and probe its lug"
            alone = run_ohm(run, context.harness.ambient_c)
            high = alone + ALLOWANCE_OHM
            source = f"{wire}, the run alone: {alone:.3f} ohm; {_allowance(high)}"
        else:
            note = f"{others}, and neither end can be lifted; pull one contact to prove it"
            unresolved = True
    elif (with_run + without) / 2 < high:
        # A parallel path sets the ceiling: above the middle between with and without, the run is missing.
        high = (with_run + without) / 2
        source = (
            f"{wire} and what lies beside it: {with_run:.3f} ohm with the run and {without:.3f} ohm without it; "
            f"the middle of the two: {high:.3f} ohm"
        )
    return Step(
        id=f"continuity:{run.wire}",
        check=Continuity.name,
        stage=Stage.DEAD,
        quantity=Quantity.OHMS,
        state=state,
        question=f"does {what} {run.wire} go from {run.a} to {run.b}?",
        subject=(run.wire, run.a, run.b),
        red=red,
        black=black,
        band=Band(None, high, "ohm", source),
        note=note,
        settings={UNRESOLVED: unresolved},
    )


def _expected(context: Context, run: Run) -> tuple[float, float]:
    circuit = context.circuit(ALL_OPEN)
    return circuit.ohms(run.a, run.b), circuit.ohms_without(run.wire, run.a, run.b)


def _allowance(high: float) -> str:
    return f"plus {ALLOWANCE_OHM:g} ohm for probes and leads: at most {high:.3f} ohm"


def told_apart(context: Context, with_it: float, without: float) -> bool:
    """Whether this meter can tell a network with a run or part in it from the same network without."""
    if math.isinf(without):
        return True
    blur = context.meter.ohm_uncertainty(with_it) + context.meter.ohm_uncertainty(without)
    return without - with_it > ALLOWANCE_OHM + 2 * blur


def _end_to_lift(harness: Harness, run: Run) -> str:
    """An end under a nut: a stud or a ring terminal. A splice or a crimped contact stays where it is."""
    for end in (run.b, run.a):
        connector = harness.connectors.get(ref_of(end))
        if pin_of(end) == RING or (connector is not None and connector.family == "stud"):
            return end
    return ""
