from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.words.lead_zero import LeadZero, assumed_zero, own_rel, without_leads, zero_of
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState

SPEC = MeterSpec()


def shown(*values):
    return [Reading(ReadingState.VALUE, "ohm", value, SPEC.ohm_uncertainty(value)) for value in values]


def test_mean_and_scatter():
    zero = zero_of(shown(0.2, 0.3, 0.1, 0.2, 0.2), SPEC)
    assert zero == LeadZero(pytest.approx(0.2), 0.1, (0.2, 0.3, 0.1, 0.2, 0.2))
    wide = zero_of(shown(0.1, 0.5), SPEC)
    assert wide.scatter_ohm == pytest.approx(0.2)  # more than the leads are known for


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ((1.3, 1.3, 1.3), "above 1 ohm a lead or its plug is bad"),
        ((0.1, 0.9), "not steady"),
        ((-0.9, -0.9), "less than nothing"),
        ((120.0,), "the leads were not together"),
    ],
)
def test_leads_that_are_bad_or_not_together_zero_nothing(values, said):
    why = zero_of(shown(*values), SPEC)
    assert isinstance(why, str)
    assert said in why


def test_open_leads_and_a_silent_meter_zero_nothing():
    assert "OL" in zero_of([Reading(ReadingState.OVER, "ohm", over_above=40e6)], SPEC)
    assert "timed out" in zero_of([Reading.none("timed out", "ohm")], SPEC)
    assert zero_of([], SPEC) == "nothing was read"


def test_what_is_taken_off_stays_in_the_detail():
    reading = without_leads(shown(0.45)[0], LeadZero(0.25, 0.15), SPEC)
    assert reading.value == pytest.approx(0.2)
    assert reading.uncertainty == pytest.approx(0.2 * 0.009 + 0.2 + 0.15)
    assert (reading.detail["raw_ohm"], reading.detail["lead_ohm"], reading.detail["wires"]) == (0.45, 0.25, 2)


def test_less_than_nothing():
    zero = LeadZero(0.5, 0.1)
    near = without_leads(shown(0.3)[0], zero, SPEC)  # 0.2 below: within what the meter leaves open
    assert (near.state, near.value) == (ReadingState.VALUE, pytest.approx(-0.2))
    far = without_leads(shown(0.1)[0], zero, SPEC)
    assert far.state is ReadingState.NONE
    assert "voltage on the circuit, or other leads" in far.detail["why"]


def test_open_stays_open():
    over = without_leads(Reading(ReadingState.OVER, "ohm", over_above=40e6), LeadZero(0.2, 0.1), SPEC)
    assert over.state is ReadingState.OVER
    assert over.over_above == 40e6


def test_a_meter_that_takes_them_off_itself_and_leads_that_nobody_measured():
    assert own_rel(SPEC).ohm == 0.0
    assert own_rel(SPEC).own_rel
    guess = assumed_zero(SPEC, "no time")
    assert (guess.ohm, guess.assumed) == (0.2, "no time")
    assert guess.scatter_ohm == pytest.approx(0.3)  # leads may have nothing, or twice that


@given(
    st.floats(0.05, 0.6),
    st.lists(st.floats(-0.04, 0.04), min_size=3, max_size=9),
    st.floats(0, 1e6),
    st.floats(-1, 1),
)
def test_the_true_value_is_within_the_uncertainty(leads, noise, true, gain):
    """Whatever the leads have, and whatever a meter within its accuracy makes of them."""
    zero = zero_of(shown(*(leads + n for n in noise)), SPEC)
    assert isinstance(zero, LeadZero)
    raw = true * (1 + 0.009 * gain / 1.02) + leads + 0.03 * gain
    reading = without_leads(shown(raw)[0], zero, SPEC)
    assert abs(reading.value - true) <= reading.uncertainty + 1e-9
