"""Part value: do protectors and switches conduct when they are in and part when they are out; have resistors their value?

A protector that something bridges passes every look while it is in, and protects nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from benchcheck.checks.continuity import ALLOWANCE_OHM
from benchcheck.checks.isolation import ISOLATION_SOURCE
from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.model import Part, PartKind
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.reading import Reading
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band

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
            if math.isinf(context.circuit(all_out).ohms(part.a, part.b)):
                yield _out_step(context, part, all_out)

    def fail_reason(self, step: Step, reading: Reading) -> str:
        if step.state.opened:
            return "bridged"
        return "open" if math.isnan(reading.value) or reading.value > 1e5 else "wrong_value"


def _out_step(context: Context, part: Part, all_out: BenchState) -> Step:
    limit_ohm = context.harness.limits.isolation_ohm
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
        band=Band(limit_ohm, None, "ohm", ISOLATION_SOURCE),
    )


def _step(context: Context, part: Part) -> Step:
    expected = context.circuit(ALL_OPEN).ohms(part.a, part.b)
    low: float | None = None
    if part.kind is PartKind.RESISTOR:
        slack = expected * part.tolerance_percent / 100
        low, high = max(expected - slack - ALLOWANCE_OHM, 0.0), expected + slack + ALLOWANCE_OHM
        source = f"profile: {part.ohm:g} ohm, {part.tolerance_percent:g} percent, with what lies beside it"
        question = f"is {part.kind.value} {part.ref} fitted and {part.ohm:g} ohm?"
    else:
        high = expected + ALLOWANCE_OHM
        source = f"computed: closed, {expected:.3f} ohm, plus at most {ALLOWANCE_OHM:g} ohm for probes and leads"
        question = f"does {part.kind.value} {part.ref} conduct when it is in?"
    return Step(
        id=f"part_value:{part.ref}",
        check=PartValue.name,
        stage=Stage.DEAD,
        quantity=Quantity.OHMS,
        state=ALL_OPEN,
        question=question,
        subject=(part.ref, part.a, part.b),
        red=part.a,
        black=part.b,
        band=Band(low, high, "ohm", source),
    )
