"""Coverage as numbers: what a plan's isolation readings prove apart, and what is proved by now."""

from __future__ import annotations

from dataclasses import replace

import pytest
from model_bench import shipped

from benchcheck.checks.kind import Context
from benchcheck.plan.coverage import Coverage, coverage_document, coverage_lines, coverage_of
from benchcheck.plan.plan import Plan, make_plan
from benchcheck.words.meter import MeterSpec
from benchcheck.words.ways import Isolation, Ways

NEAR = ("neighbours", "to chassis", "core to shield", "to a feed", "in one cable")


def covered(profile: str, isolation: Isolation = Isolation.NEAR) -> Coverage:
    harness = shipped(profile)[0]
    return coverage_of(Context(harness, MeterSpec()), make_plan(harness, MeterSpec(), Ways(isolation)))


@pytest.mark.parametrize("isolation", list(Isolation))
@pytest.mark.parametrize("profile", ["starter", "survey_launch"])
def test_every_near_pair_is_proved_in_every_way(profile: str, isolation: Isolation) -> None:
    found = {entry.name: entry for entry in covered(profile, isolation).classes}
    assert list(found) == [*NEAR, "every two nets"]
    for name in NEAR:
        assert found[name].planned == found[name].pairs > 0
        assert found[name].percent == 100


@pytest.mark.parametrize("isolation", list(Isolation))
def test_every_two_nets_are_proved_by_full_and_by_plug_alone(isolation: Isolation) -> None:
    found = covered("survey_launch", isolation)
    every = found.classes[-1]
    # n things have n (n - 1) / 2 pairs
    assert every.pairs == found.groups * (found.groups - 1) // 2
    assert (every.planned == every.pairs) is (isolation is not Isolation.NEAR)


def test_the_figures_of_the_demo() -> None:
    assert covered("survey_launch").readings_per_contact <= 1.5
    by_plug = covered("survey_launch", Isolation.PLUG)
    assert by_plug.readings <= by_plug.nets
    # a bundle that grows proves n groups apart with n - 1 readings; the feeds are read once more by themselves
    assert by_plug.readings == by_plug.groups - 1 + 3


def test_without_a_reading_what_it_proves_is_missing() -> None:
    _, plan, context = shipped("starter")
    whole = coverage_of(context, plan)
    for step in plan.steps:
        if step.check == "isolation":
            less = coverage_of(context, Plan(tuple(other for other in plan.steps if other is not step)))
            assert less.readings == whole.readings - 1
            assert sum(e.planned for e in less.classes) < sum(e.planned for e in whole.classes)


def test_what_is_proved_by_now_counts_only_what_has_passed() -> None:
    _, plan, context = shipped("starter")
    every = [step.id for step in plan.steps]
    for entry in coverage_of(context, plan, every).classes:
        assert entry.proved == entry.planned
    for entry in coverage_of(context, plan).classes:
        assert entry.proved == 0
    some = every[: len(every) // 4]
    assert 0 < coverage_of(context, plan, some).classes[-1].proved < coverage_of(context, plan).classes[-1].planned


def test_lines_and_document_say_the_same() -> None:
    harness, plan, _ = shipped("survey_launch")
    lines, document = coverage_lines(plan, harness), coverage_document(plan, harness)
    assert f"{document['readings']} readings for {document['contacts']} populated contacts" in lines[0]
    classes = document["classes"]
    assert isinstance(classes, list)
    for line, entry in zip(lines[1:], classes, strict=True):
        assert f"{entry['name']}: {entry['planned']} of {entry['pairs']} pairs" in line
    assert coverage_lines(replace(plan, steps=()), harness) == ()
