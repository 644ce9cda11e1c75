from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from benchcheck.words.meter import HANDHELD_OHM_RANGES, MeterRange, MeterSpec, range_of, resolves, share_of_band
from benchcheck.words.verdict import Band, Outcome

SPEC = MeterSpec()
KELVIN = MeterSpec(four_wire=True, four_wire_ranges=(MeterRange(0.1, 1e-6), MeterRange(10.0, 1e-4)), ohm_counts=5)

# sound figures of a meter: percent, counts, and ranges whose counts grow with them
specs = st.builds(
    lambda percent, counts, scatter, count: MeterSpec(
        ohm_percent=percent,
        ohm_counts=counts,
        lead_scatter_ohm=scatter,
        ohm_ranges=tuple(MeterRange(6.0 * 10**n, 6.0 * 10**n / count) for n in range(8)),
    ),
    st.floats(0, 5),
    st.floats(0, 20),
    st.floats(0, 1),
    st.sampled_from([2000, 6000, 50_000, 1_200_000]),
)


def test_percent_of_reading_and_counts_of_the_range():
    """The way makers print it, `± (0.9 % + 2)`, reckoned by hand: common practice, no source."""
    bare = MeterSpec(lead_scatter_ohm=0.0)
    assert bare.ohm_uncertainty(100.0) == pytest.approx(0.9 + 2 * 0.1)  # 600.0 ohm range
    assert bare.ohm_uncertainty(4700.0) == pytest.approx(42.3 + 2 * 1.0)  # 6.000 kohm range
    assert bare.ohm_uncertainty(2e6) == pytest.approx(18e3 + 2 * 1e3)  # 6.000 Mohm range
    assert bare.ohm_uncertainty(-100.0) == bare.ohm_uncertainty(100.0)


def test_a_range_may_have_figures_of_its_own():
    spec = MeterSpec(ohm_ranges=(MeterRange(600, 0.1), MeterRange(40e6, 1e4, percent=2.0, counts=5)))
    assert spec.meter_ohm_uncertainty(10e6) == pytest.approx(0.02 * 10e6 + 5 * 1e4)
    assert spec.meter_ohm_uncertainty(100) == pytest.approx(0.9 + 0.2)


def test_what_is_above_every_range_is_in_the_highest():
    assert range_of(HANDHELD_OHM_RANGES, 1e9).full_scale == 40e6
    assert range_of(HANDHELD_OHM_RANGES, 600.0).full_scale == 600.0
    assert range_of(HANDHELD_OHM_RANGES, 600.1).full_scale == 6e3


def test_a_floor_that_is_given_counts_instead_of_counts():
    spec = MeterSpec(ohm_percent=0.0, ohm_floor=0.01, lead_scatter_ohm=0.02)
    assert spec.ohm_uncertainty(5e6) == pytest.approx(0.03)
    assert spec.four_wire_uncertainty(5e6) == pytest.approx(0.01)


def test_volts_by_range_or_by_floor():
    assert SPEC.volt_uncertainty(24.0) == pytest.approx(0.12 + 0.02)
    assert SPEC.volt_floor_at(24.0) == 0.02
    ranged = MeterSpec(volt_ranges=(MeterRange(6, 0.001), MeterRange(60, 0.01)), volt_counts=3)
    assert ranged.volt_uncertainty(5.0) == pytest.approx(0.025 + 0.003)
    assert ranged.volt_floor_at(24.0) == pytest.approx(0.03)


def test_four_wires_have_neither_leads_nor_their_scatter():
    assert KELVIN.four_wire_uncertainty(0.012) == pytest.approx(0.012 * 0.009 + 5e-6)
    assert KELVIN.four_wire_uncertainty(5.0) == pytest.approx(0.045 + 5e-4)
    assert KELVIN.ohm_uncertainty(0.012) > 0.1


@given(specs, st.floats(0, 6e7), st.floats(0, 6e7))
def test_within_a_range_more_ohms_are_less_sure(spec, one, other):
    low, high = sorted((one, other))
    assume(range_of(spec.ohm_ranges, low) == range_of(spec.ohm_ranges, high))
    assert spec.ohm_uncertainty(low) <= spec.ohm_uncertainty(high)


@given(specs, st.floats(0, 6e7))
def test_the_uncertainty_is_never_less_than_the_counts(spec, value):
    count = range_of(spec.ohm_ranges, value).resolution
    assert spec.meter_ohm_uncertainty(value) >= spec.ohm_counts * count
    assert spec.ohm_uncertainty(value) >= spec.meter_ohm_uncertainty(value)


# --- what a meter can tell --------------------------------------------------------------------------------------------


def test_milliohms_are_nothing_for_a_handheld_meter():
    why = resolves(Band(0.012, 0.019, "ohm", "test"), SPEC.ohm_uncertainty)
    assert why == "this meter can't tell: band 12 mohm to 19 mohm, uncertainty ± 0.3001 ohm"
    assert resolves(Band(0.012, 0.019, "ohm", "test"), KELVIN.four_wire_uncertainty) == ""


def test_a_limit_open_at_the_bottom():
    # AC 43.13-1B 11-189: a bonding jumper's connection at most 0.003 ohm
    bond = Band(None, 0.003, "ohm", "AC 43.13-1B 11-189")
    assert "at most 3 mohm, uncertainty ± 0.3 ohm" in resolves(bond, SPEC.ohm_uncertainty)
    assert resolves(bond, KELVIN.four_wire_uncertainty) == ""
    assert resolves(Band(None, 2.0, "ohm", "test"), SPEC.ohm_uncertainty) == ""


def test_a_limit_above_what_the_meter_shows():
    # US Army SB 740-91-01: insulation of assembled wiring at least 100 Mohm; a handheld meter ends below it
    why = resolves(Band(100e6, None, "ohm", "test"), SPEC.ohm_uncertainty, SPEC.ohm_max)
    assert why == "this meter can't tell: it reads up to 40 Mohm, the limit is 100 Mohm"
    assert resolves(Band(1e6, None, "ohm", "test"), SPEC.ohm_uncertainty, SPEC.ohm_max) == ""


def test_a_tenth_of_the_tolerance():
    """MIL-STD-202 method 303: meter error at most a tenth of the tolerance. 100 ohm ± 1 percent wants ± 0.1 ohm."""
    band = Band(99.0, 101.0, "ohm", "test")
    assert share_of_band(band, lambda value: 0.1) == pytest.approx(0.1)
    assert share_of_band(band, SPEC.ohm_uncertainty) == pytest.approx(1.2)  # 0.9 + 0.2 + 0.1 of 1 ohm
    assert resolves(band, SPEC.ohm_uncertainty)
    assert share_of_band(Band(None, 1.0, "ohm", "test"), SPEC.ohm_uncertainty) is None


@settings(max_examples=200)
@given(
    st.floats(0, 3),
    st.floats(0, 1),
    st.floats(0, 100),
    st.floats(0.001, 100),
)
def test_a_band_is_resolved_exactly_where_some_reading_can_pass(percent, floor, low, width):
    """Against a search for a reading that passes; the rule is a sum at the middle."""
    spec = MeterSpec(ohm_percent=percent, ohm_floor=floor, lead_scatter_ohm=0.0)
    band = Band(low, low + width, "ohm", "test")
    passing = any(
        band.outcome(value, spec.ohm_uncertainty(value)) is Outcome.PASS
        for value in (low + width * n / 2000 for n in range(2001))
    )
    share = share_of_band(band, spec.ohm_uncertainty)
    assert share is not None
    if passing:
        assert resolves(band, spec.ohm_uncertainty) == ""
    elif share < 0.99:  # the search has steps
        raise AssertionError(f"nothing passes, and yet the share is {share}")
