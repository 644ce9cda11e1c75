"""What a meter can't tell is said when the plan is made."""

from __future__ import annotations

from dataclasses import replace

import pytest
from model_bench import shipped

from benchcheck.plan.plan import make_plan
from benchcheck.plan.resolving import unresolved
from benchcheck.words.meter import MeterSpec
from benchcheck.words.verdict import Band


@pytest.mark.parametrize("profile", ["starter", "survey_launch"])
def test_an_ordinary_meter_can_do_all_of_the_lenient_questions(profile):
    assert [step.id for step in shipped(profile)[1].steps if step.unresolved] == []


def test_a_meter_that_ends_below_the_isolation_limit():
    harness = shipped("starter")[0]
    plan = make_plan(harness, MeterSpec(ohm_max=2e5))
    doubted = {step.check for step in plan.steps if step.unresolved}
    assert "isolation" in doubted
    assert "continuity" not in doubted
    step = next(step for step in plan.steps if step.check == "isolation")
    assert step.unresolved == "this meter can't tell: it reads up to 200 kohm, the limit is 1 Mohm"
    assert step.note.endswith(step.unresolved)


def test_leads_that_scatter_by_ohms_prove_no_terminator_and_no_run():
    plan = make_plan(shipped("starter")[0], MeterSpec(lead_scatter_ohm=8.0))
    doubted = {step.check for step in plan.steps if step.unresolved}
    assert {"continuity", "termination"} <= doubted


def test_a_drop_is_judged_by_two_readings():
    step = shipped("starter")[1].by_id["feed_drop:P1-1:P1-2"]
    assert unresolved(step, MeterSpec()) == ""
    coarse = MeterSpec(volt_floor=0.12)  # 0.24 V of two readings, in a band of 0.19 V either way
    assert "can't tell" in unresolved(step, coarse)
    one_reading = replace(step, band=Band(-0.13, 0.13, "V", "test"))
    assert "can't tell" in unresolved(one_reading, coarse)  # one alone would do


def test_what_is_heard_or_looked_at_is_no_question_of_the_meter():
    plan = make_plan(shipped("starter")[0], MeterSpec(ohm_percent=100.0, volt_percent=100.0, amp_percent=100.0))
    assert all(not step.unresolved for step in plan.steps if step.quantity.value in ("can", "line"))
