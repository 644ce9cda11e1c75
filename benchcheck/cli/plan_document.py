"""The plan as JSON."""

from __future__ import annotations

from benchcheck.cli.plan_text import grouped, touch_words
from benchcheck.harness.connector.access import Access
from benchcheck.harness.model import Harness
from benchcheck.jobs.bodies import band_json
from benchcheck.plan.coverage import coverage_document
from benchcheck.plan.plan import STAGES, Plan
from benchcheck.words.step import Step

SCHEMA = "benchcheck.plan/1"


def plan_document(harness: Harness, plan: Plan, meter: str) -> dict[str, object]:
    """`meter`: what the limits were set against, in words."""
    access = Access(harness)
    groups, number = [], 0
    for group, changes in grouped(plan):
        steps = [_step(number + index, step, access) for index, step in enumerate(group.steps, 1)]
        number += len(steps)
        groups.append(
            {"stage": group.stage.value, "state": group.state.to_json(), "changes": list(changes), "steps": steps}
        )
    return {
        "schema": SCHEMA,
        "profile": harness.name,
        "title": harness.title,
        "digest": harness.digest,
        "meter": meter,
        **_totals(plan),
        "coverage": coverage_document(plan, harness),
        "stages": {stage.value: _totals(plan.only(stage)) for stage in STAGES},
        "groups": groups,
    }


def _totals(plan: Plan) -> dict[str, object]:
    cost, least = plan.effort, plan.least_effort
    return {
        "steps": len(plan.steps),
        "probe_moves": cost.moves,
        "lower_bound_moves": least.moves,
        "ratio": round(plan.moves_ratio, 4),
        "connector_changes": cost.connectors,
        "zone_changes": cost.zones,
        "bench_changes": cost.changes,
        "readings": cost.readings,
        "cost_s": round(cost.seconds),
        "cost_bound_s": round(least.seconds),
        "estimate_s": round(plan.estimate_s),
        "unresolved": sum(bool(step.unresolved) for step in plan.steps),  # this meter can't tell
    }


def _step(number: int, step: Step, access: Access) -> dict[str, object]:
    return {
        "number": number,
        "id": step.id,
        "check": step.check,
        "quantity": step.quantity.value,
        "question": step.question,
        "subject": list(step.subject),
        "red": step.red,
        "black": step.black,
        "load_a": step.load_a,
        "limit": band_json(step.band),
        "touch": touch_words(step, access),
        "note": step.note,
        "unresolved": step.unresolved,
    }
