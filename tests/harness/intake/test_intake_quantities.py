"""Numbers of other tables: units, decimal commas."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.harness.intake.quantities import UNITS, Wrong, back, decimal_mark, read_quantity, scaled, unit_named
from benchcheck.harness.intake.sheet import column_of, letter, number_text


def test_feet_and_inches_are_exact() -> None:
    # International yard and pound agreement of 1959, one yard = 0.9144 m: value from memory
    assert UNITS["length_m"]["ft"] * 3 == Decimal("0.9144")
    assert UNITS["length_m"]["in"] * 36 == Decimal("0.9144")
    assert read_quantity("length_m", "10", "ft", ".") == "3.048"
    assert read_quantity("length_m", "1", "in", ".") == "0.0254"


@pytest.mark.parametrize(
    ("text", "unit", "mark", "metres"),
    [
        ("1.5", "m", ".", "1.5"),
        ("1,5", "m", ",", "1.5"),
        ("1500", "mm", ".", "1.5"),
        ("150 cm", "m", ".", "1.5"),
        ("1.5m", "", ".", "1.5"),
        ('12"', "m", ".", "0.3048"),
        ("1'", "m", ".", "0.3048"),
        ("1.234,5", "mm", ",", "1.2345"),
        ("1,234.5", "mm", ".", "1.2345"),
        ("1,234", "mm", ",", "0.001234"),
        ("1,234", "mm", ".", "1.234"),
        (".5", "m", ".", "0.5"),
        ("0", "m", ".", "0"),
    ],
)
def test_lengths(text: str, unit: str, mark: str, metres: str) -> None:
    assert read_quantity("length_m", text, unit, mark) == metres


@pytest.mark.parametrize(
    ("text", "unit", "mark", "said"),
    [
        ("abc", "m", ".", "is no number"),
        ("5 furlongs", "m", ".", "unit 'furlongs' is not known"),
        ("1.5", "", ".", "neither the heading nor the cell says the unit"),
        ("1,234", "mm", "", "can be read in two ways"),
        ("1.2.3", "m", ".", "is no number"),
        ("9" * 40, "m", ".", "too many digits"),
        ("1e5", "m", ".", "is no number"),
        ("1,5", "m", ".", "has a decimal comma"),
    ],
)
def test_what_is_no_length(text: str, unit: str, mark: str, said: str) -> None:
    found = read_quantity("length_m", text, unit, mark)
    assert isinstance(found, Wrong)
    assert said in found.text
    assert found.hint


def test_the_decimal_mark_is_told_by_all_cells_together() -> None:
    assert decimal_mark(["1,5", "2,000"]) == ","
    assert decimal_mark(["1,500", "2,000"]) == ""
    assert decimal_mark(["0,500", "2"]) == ","
    assert decimal_mark(["1.5", "2"]) == "."


def test_units_by_other_names() -> None:
    assert [unit_named("length_m", word) for word in ("Metres", "FEET", "inch", "mm.", "kg", "A")] == [
        "m",
        "ft",
        "in",
        "mm",
        "",
        "",
    ]
    assert unit_named("load_a", "mA") == "mA"
    assert read_quantity("load_a", "250", "mA", ".") == "0.25"
    assert read_quantity("efficiency", "90 %", "1", ".") == "0.9"
    assert read_quantity("farad", "0.1 uF", "F", ".") == "0.0000001"


@given(st.decimals(0, 1000, places=6), st.sampled_from(sorted(UNITS["length_m"])))
def test_a_length_goes_out_and_comes_back(metres: Decimal, unit: str) -> None:
    text = f"{metres:f}".rstrip("0").rstrip(".") or "0"
    out = back(text, "length_m", unit)
    assert Decimal(read_text(out, unit)) == metres


def read_text(out: str, unit: str) -> str:
    return scaled(Decimal(out), UNITS["length_m"][unit])


@given(st.integers(0, 20_000))
def test_letters_of_columns(column: int) -> None:
    assert column_of(letter(column)) == (column if column < 18_278 else None)  # ZZZ is the last of three letters


def test_letters_that_a_spreadsheet_shows() -> None:
    # the last columns of sheets of 26, 256 and 16,384 columns, as spreadsheet programs show them: common practice, no source
    assert [letter(25), letter(26), letter(255), letter(16_383)] == ["Z", "AA", "IV", "XFD"]


@given(st.floats(-1e14, 1e14))
def test_numbers_as_they_are_written_by_hand(number: float) -> None:
    assert float(number_text(number)) == pytest.approx(number, abs=1e-9)
    assert number_text(0.1 + 0.2) == "0.3"
