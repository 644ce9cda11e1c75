"""Continuity: does each run, bridge and drain go where the pin table says?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind
from benchcheck.harness.circuit import CONDUCTING_OHM, run_ohm
from benchcheck.harness.coding import CodedRun, coded_runs, codes, tolerance_ohm
from benchcheck.harness.model import Harness, Role, Run
from benchcheck.harness.plug import CODE_PERCENT
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import RING, lifted, pin_of, ref_of
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict
from benchcheck.words.ways import Identity

# What a good run may read above its computed value: touch of the probes, a tired test lead
# (common practice, no source). Continuity is the lenient question; a milliohm joint is not judged here.
ALLOWANCE_OHM = 2.0
UNRESOLVED = "unresolved"
# The band of a coded step ends before the middle between two contacts' resistors (own choice).
INSIDE_HALF = 0.9
CODES = "codes"  # in the settings of a step through a coded plug: contact -> ohms


@check_kind
class Continuity(CheckKind):
    name = "continuity"
    stage = Stage.DEAD
    rank = 10
    title = "Continuity of each run, bridge and drain"
    reasons = {
        "open": "open: nothing joins these two contacts; look for an unseated or uncrimped contact, a wrong cavity, a cut wire",
        "too_high": "connected, but far above a run of this gauge and length; it may go another way than planned",
        "other_contact": "it ends in another contact of the coded plug than planned; look for swapped conductors or a wrong cavity",
        "joined": "nearly no ohms to chassis: the resistor of the coded plug is bypassed, and the reading names no contact",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        coded: Mapping[str, CodedRun] = {}
        if context.ways.identity is Identity.CODED:
            coded = coded_runs(
                context.harness,
                context.groups,
                alone=lambda run: math.isinf(_expected(context, run)[1]),
                uncertainty_ohm=context.meter.ohm_uncertainty,
            )
        plugs = {way.plug: codes(context.harness.connectors[way.plug]) for way in coded.values()}
        for run in context.harness.wired_runs:
            way = coded.get(run.wire)
            if way is not None:
                yield _coded_step(context, way, plugs[way.plug])
            elif run.b:
                yield _step(context, run)

    def measure(self, step: Step) -> Measuring:
        judged = yield from super().measure(step)
        if step.settings.get(UNRESOLVED) and judged.verdict.outcome is Outcome.PASS:
            text = f"can't prove as wired: {step.note}"
            return Judged(judged.reading, Verdict(Outcome.UNSURE, "cannot_prove", text))
        return judged

    def judge(self, step: Step, reading: Reading) -> Verdict:
        if step.settings.get(CODES) is None or reading.state is not ReadingState.VALUE:
            return super().judge(step, reading)
        return _judge_coded(self, step, reading)

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


def _coded_step(context: Context, way: CodedRun, plug: Mapping[str, float]) -> Step:
    """Both leads at the near end: the resistor of the coded plug at the far end says in which contact the run ends."""
    run, code = way.run, plug[way.far]
    wire_ohm = _expected(context, run)[0]
    next_ohm = min((abs(ohm - code) for contact, ohm in plug.items() if contact != way.far), default=math.inf)
    slack = min(tolerance_ohm(code + wire_ohm, context.meter.ohm_uncertainty), INSIDE_HALF * next_ohm / 2)
    source = (
        f"computed: {way.far} has {code:g} ohm in the coded plug, {CODE_PERCENT:g} percent, and the wire {wire_ohm:.3f} ohm; "
        f"with what the meter may be off {slack:.3g} ohm either way, the next contact's resistor lies {next_ohm:g} ohm off"
    )
    return Step(
        id=f"continuity:{run.wire}",
        check=Continuity.name,
        stage=Stage.DEAD,
        quantity=Quantity.OHMS,
        state=BenchState(coded=frozenset({way.plug})),
        question=f"does run {run.wire} go from {run.a} to {run.b}, by its resistor of {code:g} ohm in {way.plug}?",
        subject=(run.wire, run.a, run.b),
        red=way.near,
        black=context.harness.chassis,
        band=Band(code + wire_ohm - slack, code + wire_ohm + slack, "ohm", source),
        note="without the plug it is open to chassis, which isolation proves first; the ohms of the run itself are not judged",
        settings={UNRESOLVED: False, CODES: plug, "far": way.far, "wire_ohm": wire_ohm},
    )


def _judge_coded(kind: CheckKind, step: Step, reading: Reading) -> Verdict:
    """The contact that a reading names. The band holds already what the meter may be off, so the value itself counts."""
    band, plug = step.band, step.settings[CODES]
    if band is None or band.low is None or band.high is None or not isinstance(plug, Mapping):
        raise ValueError(f"step {step.id} has no band of a coded plug")
    value = reading.value
    if value < -reading.uncertainty:
        return CheckKind.judge(kind, step, reading)
    if band.low <= value <= band.high:
        return Verdict(Outcome.PASS, "in_band", reading.text)
    if value + reading.uncertainty < min(plug.values()) / 2:
        return Verdict(Outcome.FAIL, "joined", f"{reading.text}: {kind.reasons['joined']}")
    named = named_by(step, reading)
    if named and named != step.settings["far"]:
        text = f"{reading.text}, the resistor of {named} and not of {step.settings['far']}: {kind.reasons['other_contact']}"
        return Verdict(Outcome.FAIL, "other_contact", text)
    if named or band.low - reading.uncertainty <= value <= band.high + reading.uncertainty:
        return Verdict(Outcome.UNSURE, "meter_cannot_tell", f"{reading.text}: too near the limit for this meter")
    reason = "open" if value > CONDUCTING_OHM else "too_high"
    return Verdict(Outcome.FAIL, reason, f"{reading.text}, the resistor of no contact: {kind.reasons[reason]}")


def named_by(step: Step, reading: Reading) -> str:
    """The contact whose resistor in the step's coded plug was read; empty where it is none's."""
    plug, wire_ohm = step.settings.get(CODES), float(str(step.settings.get("wire_ohm", 0.0)))
    if not isinstance(plug, Mapping) or reading.state is not ReadingState.VALUE:
        return ""

    def off_ohm(contact: str) -> float:
        return abs(float(plug[contact]) + wire_ohm - reading.value)

    nearest = min(plug, key=off_ohm)
    within = float(plug[nearest]) * CODE_PERCENT / 100 + reading.uncertainty
    return str(nearest) if off_ohm(nearest) <= within else ""


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
