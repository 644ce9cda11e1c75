"""Single faults of the dead stage, planted in the simulator's model: each must be named, in its place, and alone."""

from __future__ import annotations

import random

import pytest
from every_fault import dead_faults, dead_stage
from model_bench import shipped

from benchcheck.checks.kind import Context
from benchcheck.plan.plan import Plan, make_plan
from benchcheck.simulator.faults import Fault
from benchcheck.words.meter import MeterSpec
from benchcheck.words.ways import Identity, Isolation, Ways


def _named(profile: str, faults: list[Fault]) -> list[str]:
    """The faults that were not named right, in words."""
    harness, plan, context = shipped(profile)
    wrong = []
    for seed, fault in enumerate(faults, 1):
        squawks = dead_stage(plan, context, fault, seed=seed)
        found = [(squawk.kind.value, squawk.where) for squawk in squawks]
        if len(found) != 1 or found[0][0] != fault.kind or not set(fault.where(harness)) <= set(found[0][1]):
            wrong.append(f"{fault} -> {found}")
    return wrong


def _all(profile: str) -> list[Fault]:
    rng = random.Random(5)
    faults = dead_faults(shipped(profile)[2], rng)
    rng.shuffle(faults)
    return faults


def test_every_single_fault_of_the_starter_is_named() -> None:
    assert _named("starter", _all("starter")) == []


def test_a_sample_of_the_demo_harness_is_named() -> None:
    assert _named("survey_launch", _all("survey_launch")[::24]) == []


@pytest.mark.long
@pytest.mark.timeout(1200)
def test_every_single_fault_of_the_demo_harness_is_named() -> None:
    assert _named("survey_launch", _all("survey_launch")) == []


def test_a_sound_harness_has_no_squawk_whatever_the_noise() -> None:
    for profile in ("starter", "survey_launch"):
        _, plan, context = shipped(profile)
        for seed in range(1, 6):
            assert dead_stage(plan, context, seed=seed) == []


def _in_ways(profile: str, ways: Ways) -> tuple[Plan, Context]:
    harness = shipped(profile)[0]
    return make_plan(harness, MeterSpec(), ways), Context(harness, MeterSpec(), ways)


def _named_in(profile: str, ways: Ways, faults: list[Fault]) -> list[str]:
    plan, context = _in_ways(profile, ways)
    wrong = []
    for seed, fault in enumerate(faults, 1):
        found = [(squawk.kind.value, squawk.where) for squawk in dead_stage(plan, context, fault, seed=seed)]
        if len(found) != 1 or found[0][0] != fault.kind or not set(fault.where(context.harness)) <= set(found[0][1]):
            wrong.append(f"{fault} -> {found}")
    return wrong


OTHER_WAYS = [Ways(Isolation.PLUG), Ways(Isolation.PLUG, Identity.CODED), Ways(Isolation.NEAR, Identity.CODED)]


@pytest.mark.long
@pytest.mark.parametrize("ways", OTHER_WAYS, ids=str)
def test_faults_are_named_with_plugs_as_without(ways: Ways) -> None:
    assert _named_in("starter", ways, _all("starter")[::5]) == []
    assert _named_in("survey_launch", ways, _all("survey_launch")[7::300]) == []


@pytest.mark.long
@pytest.mark.timeout(2400)
@pytest.mark.parametrize("ways", OTHER_WAYS, ids=str)
def test_every_fault_of_the_demo_harness_is_named_with_plugs(ways: Ways) -> None:
    assert _named_in("survey_launch", ways, _all("survey_launch")) == []
