"""Every single short between neighbours, to chassis, to a shield, to a feed and in one cable is found, in each way."""

from __future__ import annotations

from functools import cache

import pytest
from every_short import Seeing, by_design, judged, planned, shorts

from benchcheck.simulator.model import BenchModel
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome
from benchcheck.words.ways import Identity, Isolation, Ways

DEMO = "survey_launch"
# a strand of wire, and a film of salt and flux
OHMS = (0.5, 10e3)


@cache
def seeing(profile: str, isolation: Isolation) -> Seeing:
    harness, plan, _ = planned(profile, Ways(isolation))
    return Seeing(harness, plan)


def missed(profile: str, isolation: Isolation, *, every: int = 1, offset: int = 0) -> tuple[int, list[str]]:
    """How many shorts were planted, and those that no reading of the plan found, in words."""
    harness = planned(profile, Ways(isolation))[0]
    eyes, count, found = seeing(profile, isolation), 0, []
    for number, (a, b, why) in enumerate(list(shorts(harness))[offset::every]):
        for ohm in OHMS:
            if not by_design(harness, a, b, ohm):
                count += 1
                if not eyes.is_seen(a, b, ohm, seed=number + 1):
                    found.append(f"{a} and {b} ({why}) through {ohm:g} ohm")
    return count, found


@pytest.mark.parametrize("isolation", list(Isolation))
def test_every_short_of_the_starter_is_found(isolation: Isolation) -> None:
    count, left = missed("starter", isolation)
    assert left == []
    assert count > 50


@pytest.mark.parametrize("isolation", [Isolation.NEAR, Isolation.PLUG])
def test_a_sample_of_the_shorts_of_the_demo_harness_is_found(isolation: Isolation) -> None:
    count, left = missed(DEMO, isolation, every=23, offset=4)
    assert left == []
    assert count > 60


@pytest.mark.long
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("isolation", [Isolation.NEAR, Isolation.PLUG])
def test_every_short_of_the_demo_harness_is_found(isolation: Isolation) -> None:
    count, left = missed(DEMO, isolation)
    assert left == []
    assert count > 1500


def test_a_plan_without_its_isolation_readings_finds_few() -> None:
    """The test itself can fail: without the readings in question most shorts are missed."""
    harness, plan, _ = planned("starter", Ways())
    asking = ("isolation", "can_to_rail", "supply_to_ground")
    blind = Seeing(harness, type(plan)(tuple(step for step in plan.steps if step.check not in asking)))
    left = [s for s in shorts(harness) if not by_design(harness, s[0], s[1], 0.5) and not blind.is_seen(*s[:2], 0.5, 1)]
    assert len(left) > 20


@pytest.mark.parametrize("ways", [Ways(), Ways(Isolation.PLUG), Ways(Isolation.PLUG, Identity.CODED)])
@pytest.mark.parametrize("profile", ["starter", DEMO])
def test_a_sound_harness_passes_in_every_way_whatever_the_noise(profile: str, ways: Ways) -> None:
    harness, plan, _ = planned(profile, ways)
    for seed in (1, 2):
        model = BenchModel(harness, seed=seed)
        bad = [s.id for s in plan.of_stage(Stage.DEAD) if judged(model, s).verdict.outcome is not Outcome.PASS]
        assert bad == []
