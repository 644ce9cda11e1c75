"""Which questions of a plan this meter can't answer: said when the plan is made, not when hours of probing are done."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from benchcheck.checks.kind import all_kinds
from benchcheck.words.meter import MeterSpec, resolves
from benchcheck.words.step import Quantity, Step

MEASURED = (Quantity.OHMS, Quantity.VOLTS, Quantity.AMPS)


def with_doubts(steps: Iterable[Step], meter: MeterSpec) -> list[Step]:
    """The steps, each with what this meter can't tell of it in `unresolved` and in its note."""
    return [_with_doubt(step, meter) for step in steps]


def unresolved(step: Step, meter: MeterSpec) -> str:
    """Why no reading of this meter can pass the step; empty where one can."""
    if step.band is None or step.quantity not in MEASURED:
        return ""
    kind = all_kinds()[step.check]
    reach = meter.ohm_max if step.quantity is Quantity.OHMS else float("inf")
    return resolves(step.band, lambda value: kind.blur(step, meter, value), reach)


def _with_doubt(step: Step, meter: MeterSpec) -> Step:
    why = unresolved(step, meter)
    if not why:
        return step
    return replace(step, unresolved=why, note=f"{step.note}; {why}" if step.note else why)
