from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.words.errors import InputError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.quantity import parse_quantity
from benchcheck.words.reading import ReadingState, format_quantity


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("4.7k", "ohm", 4700),
        ("2,2 k\u03a9", "ohm", 2200),
        ("2.2 K\u2126", "ohm", 2200),
        ("1.2M", "ohm", 1.2e6),
        ("1.2 Mohm", "ohm", 1.2e6),
        ("180m", "ohm", 0.18),
        ("180 mohm", "ohm", 0.18),
        ("120 Ohms", "ohm", 120),
        ("0.3", "ohm", 0.3),
        (".3", "ohm", 0.3),
        ("0,234", "ohm", 0.234),
        ("-0.1", "ohm", -0.1),
        ("-5.1", "V", -5.1),
        ("\u22125.1 V", "V", -5.1),
        ("+24", "V", 24),
        ("24 V", "V", 24),
        ("180mV", "V", 0.18),
        ("180 m V", "V", 0.18),
        ("500u", "A", 0.0005),
        ("500 \u00b5A", "A", 0.0005),
        ("0.82 amps", "A", 0.82),
        ("1e3", "ohm", 1000),
        ("  7 ", "V", 7),
    ],
)
def test_what_a_meter_shows(typed, unit, value):
    reading = parse_quantity(typed, unit, by="A. Fitter")
    assert reading.state is ReadingState.VALUE
    assert reading.value == pytest.approx(value, rel=1e-12)
    assert reading.unit == unit
    assert reading.instrument == "typed by A. Fitter"
    assert reading.uncertainty > 0


@pytest.mark.parametrize("typed", ["OL", "ol", "o.l", "O.L.", "0L", "0.L", " OL ", ".OL"[1:], "open", "O/L"])
def test_over_range(typed):
    reading = parse_quantity(typed, "ohm")
    assert reading.state is ReadingState.OVER
    assert reading.over_above == MeterSpec().ohm_max
    assert math.isnan(reading.value)


def test_over_range_in_volts_and_its_limits():
    assert parse_quantity("OL", "V").state is ReadingState.OVER
    assert math.isnan(parse_quantity("OL", "V").over_above)
    with pytest.raises(InputError):
        parse_quantity("open", "V")


def test_the_uncertainty_is_that_of_the_meter_in_hand():
    spec = MeterSpec(ohm_percent=0.0, ohm_floor=0.01, lead_scatter_ohm=0.02, ohm_max=1e9)
    assert parse_quantity("100", "ohm", spec=spec).uncertainty == pytest.approx(0.03)
    assert parse_quantity("OL", "ohm", spec=spec).over_above == 1e9


@pytest.mark.parametrize(
    ("typed", "unit", "said"),
    [
        ("", "ohm", "nothing was typed"),
        ("   ", "ohm", "nothing was typed"),
        ("k", "ohm", "no reading"),
        ("1,234", "ohm", "two ways"),
        ("12,345", "V", "two ways"),
        ("1.2.3", "ohm", "no reading"),
        ("1 234", "ohm", "no reading"),
        ("12,345.6", "ohm", "no reading"),
        ("4k7", "ohm", "no reading"),
        ("5 V", "ohm", "in volts, and this asks for ohms"),
        ("5 ohm", "V", "in ohms, and this asks for volts"),
        ("1.2M", "V", "does not go with volts"),
        ("3 apples", "ohm", "no unit"),
        ("2**10", "ohm", "no unit|no reading"),
        ("__import__('os')", "ohm", "no reading"),
        ("nan", "ohm", "no reading"),
        ("-inf", "V", "no reading"),
        ("-5", "ohm", "less than nothing"),
        ("9" * 50, "ohm", "no reading"),
        ("\u0663", "ohm", "no reading"),
        ("1\x1b[2J", "ohm", "no reading|no unit"),
    ],
)
def test_anything_else_is_refused_with_a_hint(typed, unit, said):
    with pytest.raises(InputError, match=said) as caught:
        parse_quantity(typed, unit)
    assert caught.value.hint
    assert str(caught.value).replace("\n", "").isprintable()


def test_only_units_that_a_meter_reads():
    with pytest.raises(ValueError, match="can't be typed"):
        parse_quantity("1", "Hz")


@given(st.just(0.0) | st.floats(min_value=1e-6, max_value=1e9), st.sampled_from(["ohm", "V", "A"]))
def test_what_is_shown_can_be_typed_again(value, unit):
    shown = format_quantity(value, unit)
    # four figures are shown, three below a tenth of a volt or ampere
    assert parse_quantity(shown, unit).value == pytest.approx(value, rel=6e-3)
    assert format_quantity(parse_quantity(shown, unit).value, unit) == shown


@settings(max_examples=200)
@given(
    st.text(max_size=12) | st.text("0123456789.,+-eEkKmMuVAohmOL \u03a9", max_size=10),
    st.sampled_from(["ohm", "V", "A"]),
)
def test_no_text_raises_anything_but_our_own_error(typed, unit):
    try:
        reading = parse_quantity(typed, unit)
    except InputError as error:
        assert error.hint  # noqa: PT017 : either outcome is right
    else:
        assert reading.state is ReadingState.OVER or math.isfinite(reading.value)
