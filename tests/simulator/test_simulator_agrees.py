"""Two solvers that share nothing: what the plan expects of the demo harness, and what the simulated meter finds."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from benchcheck.harness.circuit import circuit_of
from benchcheck.profile.load import load_profile
from benchcheck.simulator.model import BenchModel
from benchcheck.words.bench_state import BenchState

PROFILE = Path(__file__).parents[2] / "profiles" / "survey_launch"
METER_OPEN_OHM = 40e6
SUPPLY_INPUT_OHM = 500.0  # supply inputs of units, which no unit file describes for a dead bench, add paths above this


@pytest.mark.parametrize("plugged", [False, True])
def test_expected_and_simulated_ohms_agree(plugged: bool) -> None:
    harness = load_profile(PROFILE)
    units = frozenset(connector.ref for connector in harness.connectors.values() if connector.unit)
    state = BenchState(on_unit=units, breakout=units) if plugged else BenchState()
    expected = circuit_of(harness, state)
    model = BenchModel(harness, seed=0)
    model.set_state(state)
    ends = sorted({end for run in harness.runs for end in run.ends})
    chance = random.Random(5)
    pairs = [(run.a, run.b) for run in harness.runs if run.b]
    pairs += [(a, b) for a, b in (chance.sample(ends, 2) for _ in range(400))]
    compared = 0
    for a, b in pairs:
        wanted, found = expected.ohms(a, b), model.true_ohms(a, b)
        if math.isinf(wanted):
            assert found > (SUPPLY_INPUT_OHM if plugged else METER_OPEN_OHM), (a, b)
        else:
            # crimps and braids without a gauge are guessed apart by the two: a handheld meter can't tell
            assert found == pytest.approx(wanted, rel=0.05, abs=0.2), (a, b)
            compared += 1
    assert compared > 200
