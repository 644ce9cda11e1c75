"""Whole tables of runs: what is taken, what is passed over, and that every bad row is reported."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_tables import BOOK, HEAD, mapped, sheet_of, take, told
from sample_profile import FILES, PINS, sample
from strategies import garbage

from benchcheck.harness.intake.csv_sheet import csv_sheet
from benchcheck.harness.intake.find_header import headings_known
from benchcheck.harness.intake.mapping import TableMapping, mapping_text, read_mapping
from benchcheck.harness.intake.outward import outward
from benchcheck.harness.intake.pins_text import pins_text, read_extra, table_text
from benchcheck.harness.intake.read_cells import Ways
from benchcheck.harness.intake.sheet import Cell, Sheet
from benchcheck.harness.intake.take_runs import drop_refused, take_runs
from benchcheck.harness.intake.taken import Account
from benchcheck.harness.reading.read_harness import read_harness
from benchcheck.harness.reading.read_pins import read_pins

ROWS = [line.split(",") for line in PINS.splitlines()[1:]]
SPLIT = ("Wire no", "From conn", "From pin", "To conn", "To pin", "Gauge", "Length (mm)", "Function", "Cable", "Screen", "Color", "Remarks", "Qty")  # fmt: skip
WORDS = {"power": "PWR", "ground": "GND", "can_h": "CAN-H", "can_l": "CAN-L", "rs232_tx": "TXD", "signal": "Sig"}


def split_table() -> list[list[Cell]]:
    """The sample's pin table as another office would write it."""
    rows: list[list[Cell]] = [list(SPLIT)]
    for number, (wire, a, b, awg, length, role, *rest) in enumerate(ROWS):
        ends: list[Cell] = []
        for end in (a, b):
            connector, _, contact = end.partition("-")
            ends += [connector or None, float(contact) if contact.isdigit() else contact or None]
        rows.append([wire, *ends, float(awg), float(length) * 1000, WORDS.get(role, role), *rest, float(number)])
    return rows


def test_another_offices_table_gives_the_same_runs() -> None:
    account, mapping = take(split_table())
    assert account.faults == []
    text = pins_text([row.texts for row in account.rows])
    runs, faults = read_pins("pins.csv", text, BOOK)  # type: ignore[arg-type]
    assert faults == []
    assert [replace(run, place=wanted.place) for run, wanted in zip(runs, sample().runs, strict=True)] == list(
        sample().runs
    )
    assert account.words["role", "PWR", "power"] == 4
    assert [mapping.columns[index].heading for index in mapping.kept] == ["Qty"]
    assert mapping.columns[-1].numbers
    assert [row.kept for row in account.rows] == [(str(number),) for number in range(len(ROWS))]


def test_blank_rows_comments_titles_totals_and_repeated_headings_are_passed_over_and_listed() -> None:
    row: list[Cell] = ["W1", "P1-1", "TB1-2", 22.0, 1.0, "power"]
    account, _ = take([[*HEAD], [], row, ["# later"], ["PORT RACK"], [*HEAD], ["Total", None, None, None, 1.0]])
    assert account.faults == []
    assert [entry.row.number for entry in account.rows] == [3]
    assert [(entry.row, entry.why) for entry in account.passed_over] == [
        (4, "a comment"),
        (5, "a title"),
        (6, "the headings again"),
        (7, "a row of totals"),
    ]


def test_a_row_with_one_of_its_ends_only_is_no_title() -> None:
    account, _ = take([[*HEAD], ["W1"], [None, None, None, 22.0, 1.0, "power"]])
    assert {row for row, _, _ in told(account)} == {2, 3}


def test_faults_stand_at_the_cells_of_the_table() -> None:
    rows: list[list[Cell]] = [
        ["Nr.", "To pin", "To conn", "From", "Wire", "Length (cm)", "Role", "Gauge"],
        ["1", "12", "P1", "TB1-2", "W1", "120", "PWR", "22"],  # P1 has 1 to 9
        ["2", "1", "P1", "TB1-2", "W2", "a metre", "PWR", "22"],
        ["3", "2", "P1", "TB1-3", "W3", "120", "flux", "22"],
        ["4", "3", "P1", "TB1-4", "W9", "120", "sig", "99"],
        ["5", "4", "P1", "TB9-1", "W9", "120", "sig", "22"],
    ]
    account, _ = take(rows)
    found = told(account)
    assert [(row, column) for row, column, _ in found] == [(2, 2), (3, 6), (4, 7), (5, 8), (6, 4), (6, 5)]
    assert all("column" in text for _, _, text in found)
    assert "P1 (dsub9) has 1 to 9" in account.faults[0].hint
    assert "--word 'flux'=ROLE" in account.faults[2].hint
    assert "first at line 5" in account.faults[5].text


def test_every_fault_of_a_row_is_listed_at_once() -> None:
    rows: list[list[Cell]] = [
        ["Wire", "From conn", "From pin", "To", "AWG", "Length (m)", "Role", "Shield"],
        ["W1", "P1", "2-Jan", "P9-1", "0,5 mm", "far", "blah", "S9"],
        ["W1", "P1", 3.0, "P2-4", 22.0, 1.0, "power", None],
    ]
    account, _ = take(rows)
    assert [(row, column) for row, column, _ in told(account)] == [
        (2, 3),
        (2, 4),
        (2, 5),
        (2, 6),
        (2, 7),
        (2, 8),
        (3, 1),
    ]


def test_a_length_without_a_unit_is_said_once() -> None:
    rows: list[list[Cell]] = [["Wire", "From", "To", "Length", "Role"]]
    rows += [[f"W{number}", f"P1-{number}", "GND1", 1.5, "GND"] for number in range(1, 5)]
    account, _ = take(rows)
    assert told(account) == [(2, 4, "column D 'Length': neither the heading nor the cell says the unit")]
    for row in rows[1:]:
        row[3] = "1.5 m"
    assert take(rows)[0].faults == []


def test_contacts_in_other_spellings() -> None:
    rows: list[list[Cell]] = [
        [*HEAD],
        ["W1", "p1.01", "TB1 / 2", 22.0, 1.0, "PWR"],
        ["W2", "P1 pin 2", "gnd1", 22.0, 1.0, "GND"],
        ["W3", "P1-shell", "P1-x", 22.0, 1.0, "GND"],
    ]
    account, _ = take(rows)
    assert [(row.texts["from"], row.texts["to"]) for row in account.rows] == [("P1-1", "TB1-2"), ("P1-2", "GND1")]
    assert [row for row, _, _ in told(account)] == [4]
    assert account.spelled == {"p1.01 as P1-1": 1, "TB1 / 2 as TB1-2": 1, "P1 pin 2 as P1-2": 1, "gnd1 as GND1": 1}


MERGED = [
    ["Wire", "From conn", "From pin", "To", "Role"],
    ["W1", "P1", 1.0, "TB1-2", "power"],
    ["W2", None, 2.0, "GND1", "ground"],
    ["W3", None, 5.0, "P2-8", "signal"],
]


def test_an_empty_connector_is_filled_down_only_when_asked() -> None:
    account, _ = take(MERGED)
    assert told(account)[0] == (3, 2, "column B 'From conn': is empty beside a contact")
    assert "If 'P1' stands for this row too, import with --fill-down." in account.faults[0].hint
    assert [row for row, _, _ in told(account)] == [3, 4]
    account, _ = take(MERGED, merged={(3, 1): (2, 1), (4, 1): (2, 1)})
    assert told(account)[0][2].endswith("it is covered by a merged cell")
    for merged in ({}, {(3, 1): (2, 1), (4, 1): (2, 1)}):
        account, _ = take(MERGED, Ways(fill_down=True), merged=merged)
        assert account.faults == []
        assert [row.texts["from"] for row in account.rows] == ["P1-1", "P1-2", "P1-5"]
        assert len(account.mended) == 2


def test_hidden_rows_are_read_and_said() -> None:
    account, _ = take([[*HEAD], ["W1", "P1-1", "TB1-2", 22.0, 1.0, "power"]], hidden_rows=frozenset({2}))
    assert len(account.rows) == 1
    assert any("don't show in the workbook" in note for note in account.notes)


def test_doubled_headings() -> None:
    account, _ = take([["Wire", "Wire", "From", "To", "Role"], ["W1", "W1", "P1-1", "TB1-2", "power"]])
    assert len(account.faults) == 1
    account, _ = take([["Wire", "From", "To", "Role", "Qty", "Qty"], ["W1", "P1-1", "TB1-2", "power", "1", "2"]])
    assert account.faults == []
    assert account.rows[0].kept == ("1", "2")
    assert any("both are kept" in note for note in account.notes)


def test_a_text_row_with_a_field_too_many_or_too_few_is_a_fault() -> None:
    text = "Wire,From,To,Length (m),Role\nW1,P1-1,TB1-2,1,2,power\nW2,P1-2,GND1,power\nW3,P1-5,P2-8,1.5,signal\n"
    sheet, faults = csv_sheet("t.csv", text, lambda sheet: headings_known("runs", sheet))
    assert faults == []
    header, mapping, wrong, _ = mapped(sheet)
    account = take_runs(sheet, header, mapping, Ways(), BOOK, wrong)
    assert told(account) == [
        (2, None, "row has 6 fields, the headings are 5"),
        (3, None, "row has 4 fields, the headings are 5"),
    ]
    assert [row.texts["wire"] for row in account.rows] == ["W3"]


def test_without_the_refused_rows_the_others_are_judged_again() -> None:
    rows: list[list[Cell]] = [
        ["Wire", "From", "To", "Role", "Shield"],
        ["S1", "P2-99", None, "shield", None],
        ["W1", "P1-6", "P2-4", "can_h", "S1"],
        ["W2", "P1-7", "P2-5", "can_l", None],
    ]
    account, _ = take(rows)
    assert [row for row, _, _ in told(account)] == [2]
    drop_refused(account, BOOK)
    assert [row for row, _, _ in told(account)] == [2, 3]
    assert [row.texts["wire"] for row in account.rows] == ["W2"]


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_text_tables_of_any_separator(separator: str, end: str) -> None:
    lines = [
        ["Wire", "From", "To", "Length (m)", "Role", "Note"],
        ["W1", "P1-1", "TB1-2", '"1,5"', "power", '"a ""b""\nc"'],
    ]
    text = end.join(separator.join(cells) for cells in lines) + end
    sheet, faults = csv_sheet("t.csv", text, lambda sheet: headings_known("runs", sheet))
    assert faults == []
    assert sheet.separator == separator
    assert sheet.rows[1].cells == ("W1", "P1-1", "TB1-2", "1,5", "power", 'a "b"\nc')
    header, mapping, wrong, _ = mapped(sheet)
    account = take_runs(sheet, header, mapping, Ways(), BOOK, wrong)
    assert account.faults == []
    assert (account.rows[0].texts["length_m"], account.rows[0].texts["note"]) == ("1.5", 'a "b" c')


def test_an_unclosed_quote_hides_no_other_row() -> None:
    text = 'Wire,From,To\nW1,"P1-1,TB1-2\nW2,P1-2,GND1\n"W3"x,P1-3,GND1\n'
    sheet, faults = csv_sheet("t.csv", text, lambda sheet: headings_known("runs", sheet))
    assert [(fault.place.line, fault.text) for fault in faults] == [
        (2, "a quote is never closed"), (4, "text stands after a closing quote"),
    ]  # fmt: skip
    assert [row.number for row in sheet.rows] == [1, 3]


def everything_is_said(account: Account) -> None:
    """No row is lost: each is taken, refused with a reason, or passed over with one."""
    if account.table_faults:
        return
    taken = {row.row.number for row in account.rows}
    passed = {row.row for row in account.passed_over}
    for row in account.sheet.rows:
        is_empty = not any(
            isinstance(cell, str) and cell.strip() if isinstance(cell, str) else cell is not None for cell in row.cells
        )
        assert (
            row.number == 1 or is_empty or row.number in taken or row.number in account.refused or row.number in passed
        )
    for fault in account.faults:
        assert fault.place.line
        assert fault.hint or fault.text
    if not account.faults:  # what is taken loads
        text = pins_text([row.texts for row in account.rows])
        runs, faults = read_pins("pins.csv", text, BOOK)  # type: ignore[arg-type]
        assert faults == []
        assert len(runs) == len(account.rows)


cells = st.one_of(
    garbage,
    st.none(),
    st.floats(-10, 1e20, allow_nan=False),
    st.booleans(),
    st.sampled_from([cell for row in ROWS for cell in row]),
)


@given(st.lists(st.lists(cells, max_size=7), max_size=6))
@settings(max_examples=120)
def test_any_table_is_taken_or_lists_its_faults(rows: list[list[Cell]]) -> None:
    account, _ = take([[*HEAD], *rows])
    everything_is_said(account)
    drop_refused(account, BOOK)
    if account.rows:
        _, faults = read_pins("pins.csv", pins_text([row.texts for row in account.rows]), BOOK)  # type: ignore[arg-type]
        assert faults == []


@given(st.text(max_size=300))
@settings(max_examples=80)
def test_any_text_is_a_table_or_lists_its_faults(text: str) -> None:
    sheet, faults = csv_sheet("t.csv", "Wire,From,To,Role\n" + text, lambda sheet: headings_known("runs", sheet))
    header, mapping, wrong, _ = mapped(sheet, columns={"wire": "Wire"})
    everything_is_said(take_runs(sheet, header, mapping, Ways(), BOOK, [*faults, *wrong]))


kept_text = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]) | st.sampled_from("\n,;\"'#= "), max_size=10
)


@given(st.data())
@settings(max_examples=25)
def test_import_then_export_then_import_gives_the_same(data: st.DataObject) -> None:
    table = split_table()
    extra = [str(name) for name in data.draw(st.lists(kept_text.filter(str.strip), max_size=3))]
    headings: list[Cell] = [*table[0], *(f"x {number} {' '.join(name.split())}" for number, name in enumerate(extra))]
    order = data.draw(st.permutations(range(len(headings))))
    rows = [[*row, *(data.draw(kept_text) or None for _ in extra)] for row in table[1:]]
    shuffled = [[row[index] for index in order] for row in (headings, *rows)]
    account, mapping = take(shuffled)
    assert account.faults == [], [str(fault) for fault in account.faults]
    once = written(account, mapping)
    runs = read_harness(
        "x", {**FILES, "harness.toml": FILES["harness.toml"].replace('network = "net.dbc"\n', ""), "pins.csv": once[0]}
    ).runs
    read_back, wrong = read_mapping("import.toml", once[2])
    assert wrong == []
    assert read_back is not None
    sheet, faults, notes = outward(runs, read_back, once[1])
    assert (faults, notes) == ([], [])
    assert [column.heading for column in sheet.columns] == [" ".join(str(heading).split()) for heading in shuffled[0]]
    back: list[list[Cell]] = [
        [column.heading for column in sheet.columns],
        *([cell or None for cell in row] for row in sheet.rows),
    ]
    header, again, faults, notes = mapped(sheet_of(back), known=read_back)
    second = take_runs(sheet_of(back), header, again, Ways(), BOOK, faults)
    assert second.faults == []
    assert written(second, again)[:2] == once[:2]


def written(account: Account, mapping: TableMapping) -> tuple[str, str, str]:
    kept = [mapping.columns[index].heading for index in mapping.kept]
    extra = table_text([["wire", *kept], *([row.texts["wire"], *row.kept] for row in account.rows)])
    return pins_text([row.texts for row in account.rows]), extra, mapping_text(mapping)


@given(st.lists(st.tuples(kept_text, kept_text), max_size=4))
def test_the_kept_columns_are_read_as_they_were_written(rows: list[tuple[str, str]]) -> None:
    table = [("wire", "a", 'b "x",'), *((f"W{number}", *cells) for number, cells in enumerate(rows))]
    headings, kept, faults = read_extra(table_text(table))
    assert faults == []
    assert headings == ("a", 'b "x",')
    assert kept == {f"W{number}": cells for number, cells in enumerate(rows)}


def test_a_broken_list_of_kept_columns_is_a_fault() -> None:
    assert [fault.text for fault in read_extra('wire,a\nW1,"x\n')[2]] == ["can't be read: unexpected end of data"]
    assert [fault.text for fault in read_extra("wire,a\nW1\nW2,x\nW2,y\n")[2]] == [
        "row has 1 fields, the header 2", "wire W2 is there twice",
    ]  # fmt: skip


def test_faults_of_a_mapping_file() -> None:
    text = 'schema = 1\nkind = "runs"\ncolumns = [{heading = "A", goes_to = "form"}, {heading = "B", goes_to = "wire", unit = "ft"}, {heading = "C", goes_to = "wire"}]\n'
    mapping, faults = read_mapping("import.toml", text)
    assert mapping is None
    assert [fault.text for fault in faults] == [
        "goes_to: unknown column 'form'",
        "unit: unknown value 'ft'",
        "two columns go to wire",
    ]
    assert read_mapping("import.toml", "schema = 2\n")[1]
    assert read_mapping("import.toml", "schema = \n")[1]
    assert read_mapping("import.toml", 'schema = 1\nkind = "runs"\ncolour = 1\n')[1]


def test_ten_thousand_rows() -> None:
    rows: list[list[Cell]] = [[*HEAD]]
    rows += [[f"W{number}", f"P{number // 9}-{number % 9 + 1}", "GND1", 22.0, 1.5, "GND"] for number in range(10_000)]
    sheet: Sheet = sheet_of(rows)
    header, mapping, faults, _ = mapped(sheet)
    account = take_runs(sheet, header, mapping, Ways(), None, faults)
    assert len(account.rows) == 10_000
    assert account.faults == []
