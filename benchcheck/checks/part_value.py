"""Part value: do protectors and switches conduct when they are in and part when they are out; have resistors their value?

A protector that something bridges passes every look while it is in, and protects nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from benchcheck.checks.continuity import ALLOWANCE_OHM, UNRESOLVED, told_apart
from benchcheck.checks.isolation import least_band
from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind
from benchcheck.harness.model import Part, PartKind
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.reading import Reading
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict

BREAKING = (PartKind.PROTECTOR, PartKind.SWITCH)


@check_kind
class PartValue(CheckKind):
    name = "part_value"
    stage = Stage.DEAD
    rank = 20
    title = "Protectors, switches and resistors"
    reasons = {
        "open": "open: the protector is pulled or blown, the switch is off, or the part is not fitted",
        "wrong_value": "not the value planned; compare the part's marking with the profile",
        "bridged": "something joins both sides while it is out: it protects or switches nothing",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        breaking = [part for part in context.harness.parts if part.kind in BREAKING]
        # all of them out at once: one change of the bench for every part
        all_out = BenchState(opened=frozenset(part.ref for part in breaking))
        for part in context.harness.parts:
            if part.kind in (*BREAKING, PartKind.RESISTOR):
                yield _step(context, part)
        for part in breaking:
            left_ohm = context.circuit(all_out).ohms(part.a, part.b)
            if told_apart(context, part.ohm, left_ohm):
                yield _out_step(context, part, all_out, left_ohm)

    def measure(self, step: Step) -> Measuring:
        judged = yield from super().measure(step)
        if step.settings.get(UNRESOLVED) and judged.verdict.outcome is Outcome.PASS:
            text = f"can't prove that it is there: {step.note}"
            return Judged(judged.reading, Verdict(Outcome.UNSURE, "cannot_prove", text))
        return judged

    def fail_reason(self, step: Step, reading: Reading) -> str:
        if step.subject[0] in step.state.opened:
            return "bridged"
        return "open" if math.isnan(reading.value) or reading.value > 1e5 else "wrong_value"


def _out_step(context: Context, part: Part, all_out: BenchState, left_ohm: float) -> Step:
    return Step(
        id=f"part_value:{part.ref}:out",
        check=PartValue.name,
        stage=Stage.DEAD,
        quantity=Quantity.OHMS,
        state=all_out,
        question=f"does {part.kind.value} {part.ref} part the circuit when it is out?",
        subject=(part.ref, part.a, part.b),
        red=part.a,
        black=part.b,
        band=least_band(context, left_ohm),
    )


def _step(context: Context, part: Part) -> Step:
    state, hidden, note = _state_for(context, part)
    expected = context.circuit(state).ohms(part.a, part.b)
    low: float | None = None
    if part.kind is PartKind.RESISTOR:
        slack = expected * part.tolerance_percent / 100
        least, high = expected - slack - ALLOWANCE_OHM, expected + slack + ALLOWANCE_OHM
        low = least if least > 0 else None
        source = (
            f"profile: {part.ohm:g} ohm, {part.tolerance_percent:g} percent; with what lies beside it {expected:.4g} ohm "
            f"± {part.tolerance_percent:g} percent ({slack:.4g} ohm) and {ALLOWANCE_OHM:g} ohm for probes and leads: "
            f"{f'{low:.4g}' if low is not None else 'nothing'} to {high:.4g} ohm"
        )
        question = f"is {part.kind.value} {part.ref} fitted and {part.ohm:g} ohm?"
    else:
        high = expected + ALLOWANCE_OHM
        source = (
            f"computed: closed, {part.ohm:g} ohm by the profile, {expected:.3f} ohm with what lies beside it, plus at most "
            f"{ALLOWANCE_OHM:g} ohm for probes and leads: {high:.3f} ohm"
        )
        question = f"does {part.kind.value} {part.ref} conduct when it is in?"
    return Step(
        id=f"part_value:{part.ref}",
        check=PartValue.name,
        stage=Stage.DEAD,
        quantity=Quantity.OHMS,
        state=state,
        question=question,
        subject=(part.ref, part.a, part.b),
        red=part.a,
        black=part.b,
        band=Band(low, high, "ohm", source),
        note=note,
        settings={UNRESOLVED: hidden},
    )


def _state_for(context: Context, part: Part) -> tuple[BenchState, bool, str]:
    """The state in which a reading tells whether the part is there, whether none does, and what to say of it.

    A part beside another (two protectors in parallel) reads well while it is open; then the others that hide it are
    out for its step, as few of them as will do.
    """
    if _shows(context, part, ALL_OPEN):
        return ALL_OPEN, False, ""
    others = [other.ref for other in context.harness.parts if other.kind in BREAKING and other is not part]
    out = frozenset(others)
    if not _shows(context, part, BenchState(opened=out)):
        left_ohm = context.circuit(ALL_OPEN).ohms_without(part.ref, part.a, part.b)
        return ALL_OPEN, True, f"another path of {left_ohm:.3g} ohm hides it, and pulling no other part opens that"
    for ref in others:
        if _shows(context, part, BenchState(opened=out - {ref})):
            out -= {ref}
    return BenchState(opened=out), False, f"{', '.join(sorted(out))} beside it would hide it: measured with that out"


def _shows(context: Context, part: Part, state: BenchState) -> bool:
    circuit = context.circuit(state)
    expected, without = circuit.ohms(part.a, part.b), circuit.ohms_without(part.ref, part.a, part.b)
    if part.kind is PartKind.RESISTOR:  # its tolerance, too, must not reach the value without it
        expected *= 1 + part.tolerance_percent / 100
    return told_apart(context, expected, without)
