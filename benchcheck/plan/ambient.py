"""A plan at the temperature of the day: the same steps, with the limits that go with it."""

from __future__ import annotations

from dataclasses import replace

from benchcheck.harness.model import Harness
from benchcheck.plan.plan import Plan, make_plan
from benchcheck.words.meter import MeterSpec
from benchcheck.words.step import Step
from benchcheck.words.ways import Ways

LOWEST_C, HIGHEST_C = -60.0, 120.0  # as the profile's ambient_c


def plan_at(plan: Plan, harness: Harness, ambient_c: float, meter: MeterSpec, ways: Ways | None = None) -> Plan:
    """The plan of a harness with the limits of another ambient temperature than its profile's.

    Which steps there are, and how each is done, stays as the profile has it, so that a warm day starts nothing anew. A
    step that the temperature would have done differently (another bench state, other contacts) keeps its limit.
    """
    if ambient_c == harness.ambient_c:
        return plan
    warm = make_plan(replace(harness, ambient_c=ambient_c), meter, ways).by_id
    return replace(plan, steps=tuple(_at(step, warm.get(step.id)) for step in plan.steps))


def _at(step: Step, warm: Step | None) -> Step:
    if warm is None or warm.band == step.band or step.band is None or warm.band is None:
        return step
    if (warm.red, warm.black, warm.state, warm.load_a) != (step.red, step.black, step.state, step.load_a):
        return step
    return replace(warm, basis=step.band)
