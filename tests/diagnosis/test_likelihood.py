"""How readings weigh: near what is predicted much, far from it hardly, and never nothing."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.diagnosis.likelihood import (
    OVER_FLOOR,
    VALUE_FLOOR,
    floor,
    log_likelihood,
    spread_ohm,
    verdict_likelihood,
)
from benchcheck.diagnosis.priors import AGAIN_THERE, CHANCE, log_chance, togetherness
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.squawk import SquawkKind

METER = MeterSpec()


def read(ohm: float) -> Reading:
    return Reading(ReadingState.VALUE, "ohm", ohm, METER.ohm_uncertainty(ohm))


OPEN = Reading(ReadingState.OVER, "ohm", over_above=METER.ohm_max)


@settings(max_examples=60)
@given(st.floats(0.0, 5e5), st.floats(-1.0, 1.0))
def test_a_reading_off_by_what_is_stated_is_explained_and_one_far_off_is_not(ohm: float, off: float) -> None:
    # wire 20 percent off its length, a part 10 percent off its value, and the meter's own half width
    near = ohm * (1 + off * (0.2 if ohm < 5 else 0.08)) + off * METER.ohm_uncertainty(ohm) * 0.5
    assert log_likelihood(ohm, read(max(near, 0.0))) > VALUE_FLOOR + 4
    assert log_likelihood(ohm, read(3 * ohm + 20)) < VALUE_FLOOR + 4
    assert log_likelihood(ohm, OPEN) == OVER_FLOOR


@settings(max_examples=40)
@given(st.floats(0.0, 9e5), st.floats(0.0, 9e5))
def test_the_density_is_one_of_a_share_of_the_scale(one: float, other: float) -> None:
    """Nothing is likelier than its spread allows, and nothing falls below the floor."""
    value = log_likelihood(one, read(other))
    peak = math.log(
        (other + 1) * math.log(10) / (spread_ohm(one, read(other).uncertainty) * math.sqrt(2 * math.pi)) + 3
    )
    assert VALUE_FLOOR <= value <= peak + math.log(other + 2)


def test_open_weighs_for_open_and_no_reading_weighs_nothing() -> None:
    assert log_likelihood(math.inf, OPEN) == 0.0
    assert log_likelihood(math.inf, read(0.3)) == VALUE_FLOOR == floor(read(0.3))
    assert log_likelihood(5.0, Reading.none("link lost", "ohm")) == 0.0
    assert log_likelihood(math.inf, read(3e6)) == 0.0  # leakage beyond what counts as joined


def test_a_coded_plug_is_weighed_by_its_own_percent() -> None:
    # E48 neighbours 100 and 105 ohm: read through a coded plug they are two contacts
    assert log_likelihood(105.0, read(100.0), coded=True) < log_likelihood(100.0, read(100.0), coded=True) - 4


@pytest.mark.parametrize("kind", CHANCE)
def test_chances_are_chances(kind: SquawkKind) -> None:
    assert 0 < CHANCE[kind] < 0.1
    assert log_chance(kind, 0.5) == pytest.approx(math.log(CHANCE[kind] / 2))


def test_faults_at_one_connector_come_together() -> None:
    assert togetherness([frozenset({"P1"}), frozenset({"P2"})]) == 0.0
    assert togetherness([frozenset({"P1"}), frozenset({"P1", "P3"})]) == pytest.approx(math.log(AGAIN_THERE))


def test_a_verdict_weighs_by_its_reason() -> None:
    expected = frozenset({"missing"})
    right = verdict_likelihood(failed=True, reason="missing", reasons=expected)
    other = verdict_likelihood(failed=True, reason="late", reasons=expected)
    accident = verdict_likelihood(failed=True, reason="missing", reasons=None)
    assert right > other > accident
    assert verdict_likelihood(failed=False, reason="in_band", reasons=None) == pytest.approx(0.0, abs=1e-3)
