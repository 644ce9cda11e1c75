"""What spreadsheets do to cells. Which damage there is: common practice, no source."""

from __future__ import annotations

import pytest
from intake_tables import HEAD, take, told

from benchcheck.harness.intake.damage import NameColumn, at_risk, clean, look_at_name, look_at_text
from benchcheck.harness.intake.read_cells import Ways
from benchcheck.harness.intake.sheet import Cell, DateCell, ErrorCell

NONE = NameColumn(frozenset(), mixed=False)


def looked(cell: Cell, column: NameColumn = NONE) -> tuple[str, bool, str]:
    found = look_at_name(cell, column, lambda text: False)
    return (found.text, bool(found.fault), found.hint)


@pytest.mark.parametrize(
    "cell",
    [
        DateCell("2026-01-02"), DateCell("2026-01-02 00:00:00"), "2-Jan", "02-Jan", "Jan-02", "2. Jan", "2-Jan-26", "02.01.2026",
        "1/2/2026", "2026-01-02", "2026-01-02 00:00:00", "2 January",
    ],
)  # fmt: skip
def test_a_contact_that_became_a_date(cell: Cell) -> None:
    _, fault, hint = looked(cell)
    assert fault
    assert "Probably 1-2 or 2-1." in hint


@pytest.mark.parametrize(
    "cell", ["1-2", "P101-4", "P1", "MAR", "W12", "1E5", "3.Feedback", "JAN12A", "2-J", "10-20-30x"]
)
def test_names_that_are_none_of_it(cell: str) -> None:
    assert looked(cell)[:2] == (cell, False)


def test_a_name_that_is_known_is_never_doubted() -> None:
    assert look_at_name("MAR-12", NONE, lambda text: True).fault == ""
    assert look_at_name("MAR-12", NONE, lambda text: False).fault != ""


def test_lost_noughts() -> None:
    column = NameColumn.of(["007", "012", 8.0, "W1"])
    assert looked(8.0, column)[:2] == ("008", True)
    assert looked("8", column)[:2] == ("008", True)
    assert looked("108", column)[:2] == ("108", False)
    assert looked(8.0)[:2] == ("8", False)
    found = look_at_name("7", NameColumn.of(["01", "002"]), lambda text: False)
    assert (found.certain, found.hint.startswith("Probably 07 or 007.")) == (False, True)


def test_scientific_numbers() -> None:
    assert looked("1E+05")[:2] == ("1E5", True)
    assert looked("1.00E+05")[:2] == ("1E5", True)
    assert looked("1,2E+17")[:2] == ("1.2E17", True)
    names = NameColumn.of(["1A5", "1B5", "2C7"])
    assert looked(100000.0, names)[:2] == ("1E5", True)
    assert looked(100000.0)[:2] == ("100000", False)  # among numbers it is one
    assert looked(1.2345678901234567e18)[1]


def test_numbers_stored_with_decimals() -> None:
    assert looked(12.0)[:2] == ("12", False)
    assert looked("12.0")[:2] == ("12", True)
    assert looked("12,00")[:2] == ("12", True)


@pytest.mark.parametrize(
    "cell",
    [
        ErrorCell("#REF!"),
        "#REF!",
        "#N/A",
        "#VALUE!",
        "#NAME?",
        "#DIV/0!",
        ErrorCell("a formula that was never worked out"),
        True,
        False,
    ],
)
def test_cells_that_hold_nothing_of_use(cell: Cell) -> None:
    assert looked(cell)[1]


@pytest.mark.parametrize(
    ("text", "plain", "what"),
    [
        ("P1\u00a0", "P1", "blanks"),
        ("P1\u2013 4", "P1- 4", "dash"),
        ("P1\u20114", "P1-4", "dash"),
        ("P1\u20144", "P1-4", "dash"),
        ("'P1-4", "P1-4", "apostrophe"),
        ("P1-4'", "P1-4", "apostrophe"),
        ("W1\u200b", "W1", "blanks"),
        ("W1", "W1", ""),
    ],
)
def test_what_is_certain_is_mended(text: str, plain: str, what: str) -> None:
    found, mended = clean(text)
    assert found == plain
    assert (what in mended) if what else mended == ""


def test_numbers_that_became_dates() -> None:
    assert look_at_text(DateCell("2026-05-01"), number=True).fault
    assert (
        "1.5 or 5.1" in look_at_text("1. May", number=True).hint
        or "5.1 or 1.5" in look_at_text("1. May", number=True).hint
    )
    assert look_at_text("1.5", number=True).fault == ""
    assert look_at_text(True, number=True).fault


def test_cells_at_risk_in_a_text_table() -> None:
    assert [text for text in ("1-2", "=A1", "@x", "+5", "007", "1E5", "W1", "P1-4", "-3", "1.5") if at_risk(text)] == [
        "1-2", "=A1", "@x", "+5", "007", "1E5",
    ]  # fmt: skip


def test_every_damaged_cell_is_a_fault_at_its_row_and_column() -> None:
    rows: list[list[Cell]] = [
        ["Wire no", "From conn", "From pin", "To", "AWG", "Length (m)", "Role", "Note"],
        ["W1", "P1", DateCell("2026-01-02"), "GND1", 22.0, 1.5, "power", None],
        ["W2", "P1", True, "GND1", 22.0, 1.5, "power", "fine"],
        [ErrorCell("#REF!"), "P1", 3.0, "GND1", 22.0, DateCell("2026-05-01"), "power", None],
        ["W4", "P1", 4.0, "GND1", "#N/A", 1.5, "power", ErrorCell("#N/A")],
        ["W5", "P1", 5.0, "GND1", 22.0, 1.5, "power", None],
    ]
    account, _ = take(rows)
    assert [entry.row.number for entry in account.rows] == [6]
    assert [(row, column) for row, column, _ in told(account)] == [(2, 3), (3, 3), (4, 1), (4, 6), (5, 5), (5, 8)]
    assert told(account)[0][2].startswith("column C 'From pin': '2026-01-02' looks like a date")


def test_mend_takes_what_is_certain_and_says_so() -> None:
    rows: list[list[Cell]] = [
        [*HEAD],
        ["007", "P1-1", "GND1", 22.0, 1.0, "power"],
        [8.0, "P1\u20113", "GND1", 22.0, 1.0, "power"],
        ["2-Jan", "P1-4", "GND1", 22.0, 1.0, "power"],
    ]
    account, _ = take(rows)
    assert [(row, column) for row, column, _ in told(account)] == [(3, 1), (4, 1)]
    assert "--mend" in account.faults[0].hint
    assert "--mend" not in account.faults[1].hint
    account, _ = take(rows, Ways(mend=True))
    assert [entry.texts["wire"] for entry in account.rows] == ["007", "008"]
    assert [(row, column) for row, column, _ in told(account)] == [(4, 1)]
    assert [(entry.place.line, entry.place.column, entry.taken) for entry in account.mended] == [
        (3, 1, "008"),
        (3, 2, "P1-3"),
    ]
