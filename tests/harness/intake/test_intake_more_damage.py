"""Damage that came up in tables made to be damaged, and what is plainly right and must not be refused."""

from __future__ import annotations

import pytest
from intake_tables import HEAD, sheet_of, take, told

from benchcheck.harness.intake.csv_sheet import csv_sheet
from benchcheck.harness.intake.find_header import Asked, Header, find_header
from benchcheck.harness.intake.quantities import Wrong, read_quantity
from benchcheck.harness.intake.read_cells import Ways
from benchcheck.harness.intake.sheet import Cell

SPLIT = ("Wire", "From conn", "From pin", "To conn", "To pin", "AWG", "Length (m)", "Role")


@pytest.mark.parametrize(
    ("text", "unit", "metres"),
    [
        ("13.123359580052492", "ft", "4"),  # a computed number: 4 / 0.3048, with all its digits
        ("1.4999999999999998", "m", "1.5"),
        ("1.5E+00", "m", "1.5"),
        ("1,5E+00", "m", "1.5"),
        ("2E+03", "mm", "2"),
    ],
)
def test_numbers_as_programs_write_them(text: str, unit: str, metres: str) -> None:
    assert read_quantity("length_m", text, unit, "," if "," in text else ".") == metres


def test_small_numbers_have_an_exponent() -> None:
    assert read_quantity("farad", "1e-07", "F", ".") == "0.0000001"
    assert isinstance(read_quantity("length_m", "1e5", "m", "."), Wrong)  # no spreadsheet writes a length so
    assert isinstance(read_quantity("length_m", "9" * 20 + ".5", "m", "."), Wrong)


@pytest.mark.parametrize("gauge", ["22", 22.0, "22.0", "22,00", "#22", "AWG 22", "22 awg"])
def test_a_gauge_in_its_spellings(gauge: Cell) -> None:
    account, _ = take([[*HEAD], ["W1", "P1-1", "GND1", gauge, 1.0, "power"]])
    assert told(account) == []
    assert account.rows[0].texts["awg"] == "22"


@pytest.mark.parametrize("gauge", ["22.5", 22.5, "0.34", "22/24"])
def test_what_is_no_gauge(gauge: Cell) -> None:
    account, _ = take([[*HEAD], ["W1", "P1-1", "GND1", gauge, 1.0, "power"]])
    assert [(row, column) for row, column, _ in told(account)] == [(2, 4)]


def test_a_row_of_another_separator_is_no_title() -> None:
    text = ";".join(HEAD) + "\nW1;P1-1;GND1;22;1.0;power\nW2,P1-2,GND1,22,1.0,CAN L\nCabinet two\n"
    sheet, faults = csv_sheet("t.csv", text, lambda sheet: float(len(sheet.rows[0].cells)))
    assert not faults
    account, _ = take([row.cells for row in sheet.rows], separator=";")
    assert [(row, text) for row, _, text in told(account)] == [(3, "row has 1 fields, the headings are 6")]
    assert [entry.text for entry in account.passed_over] == ["Cabinet two"]


def test_an_empty_end_is_not_filled_down() -> None:
    """A shield that floats stays floating, also where connectors stand only in the first of their rows."""
    rows: list[list[Cell]] = [
        [*SPLIT],
        ["W1", "P1", "1", "P2", "1", 22.0, 1.0, "power"],
        ["W2", None, "2", None, "2", 22.0, 1.0, "ground"],
        ["S1", "P1", "ring", None, None, None, 1.0, "shield"],
    ]
    account, _ = take(rows, Ways(fill_down=True))
    assert [(taken.texts["wire"], taken.texts["from"], taken.texts["to"]) for taken in account.rows] == [
        ("W1", "P1-1", "P2-1"),
        ("W2", "P1-2", "P2-2"),
        ("S1", "P1-ring", ""),
    ]
    assert told(account) == []


def test_a_merged_stud_is_said_and_filled() -> None:
    rows: list[list[Cell]] = [
        [*SPLIT],
        ["W1", "P1", "1", "GND1", None, 22.0, 1.0, "ground"],
        ["W2", "P1", "2", None, None, 22.0, 1.0, "ground"],
    ]
    account, _ = take(rows, merged={(3, 3): (2, 3)})
    assert [(row, column) for row, column, _ in told(account)] == [(3, 4)]
    assert "covered by a merged cell" in told(account)[0][2]
    assert "--fill-down" in account.faults[0].hint
    account, _ = take(rows, Ways(fill_down=True), merged={(3, 3): (2, 3)})
    assert [taken.texts["to"] for taken in account.rows] == ["GND1", "GND1"]


def test_headings_in_two_rows_are_not_said_to_be_passed_over() -> None:
    rows: list[list[Cell]] = [
        ["Bay two"],
        ["Wire", "From", None, "To", None, "AWG", "Length (m)", "Role"],
        [None, "Conn", "Pin", "Conn", "Pin", None, None, None],
        ["W1", "P1", "1", "GND1", None, 22.0, 1.0, "ground"],
    ]
    account, _ = take(rows)
    assert len(account.rows) == 1
    assert account.notes == ["the headings stand in rows 2 and 3; row 1 above them passed over"]


def test_headings_alone_are_understood() -> None:
    """With no row below, nothing can bear a heading out; what is missing is rows, not the heading."""
    header = ["Wire no", "From", "To", "Function"]
    found = find_header("runs", sheet_of([header]), Asked({}), None)
    assert isinstance(found, Header)
    account, mapping = take([header])
    assert told(account) == []
    assert "role" in mapping.targets


def test_a_decimal_comma_is_remembered() -> None:
    rows: list[list[Cell]] = [[*HEAD], ["W1", "P1-1", "GND1", "22", "1,5", "power"]]
    assert take(rows, separator=";")[0].decimal == ","
    assert take([rows[0], ["W1", "P1-1", "GND1", "22", "1.5", "power"]], separator=";")[0].decimal == ""
