"""Sheets read from CSV, XLSX and ODS: against another reader, and on garbage."""

from __future__ import annotations

import datetime
import io
import zipfile
from pathlib import Path

import pytest
import python_calamine
import xlsxwriter
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchcheck.harness.intake.outward import OutColumn, OutSheet
from benchcheck.harness.intake.sheet import Cell, DateCell, ErrorCell, Sheet
from benchcheck.profile.read_sheets import choose_sheet, read_sheets
from benchcheck.profile.write_sheets import sheet_bytes
from benchcheck.words.errors import FaultyFiles, InputError


def read(path: Path, data: bytes) -> list[Sheet]:
    path.write_bytes(data)
    return read_sheets(path, lambda sheet: 0.0)[0]


def grid(sheet: Sheet) -> dict[tuple[int, int], Cell]:
    return {
        (row.number, column): cell
        for row in sheet.rows
        for column, cell in enumerate(row.cells)
        if cell not in (None, "")
    }


def workbook() -> bytes:
    sink = io.BytesIO()
    book = xlsxwriter.Workbook(sink)
    page = book.add_worksheet("Runs")
    day = book.add_format({"num_format": "d-mmm"})
    clock = book.add_format({"num_format": "hh:mm"})
    own = book.add_format({"num_format": '"day" 0'})
    page.write_string("B2", "P101")
    page.write_number("C2", 12)
    page.write_number("D2", 12.5)
    page.write_boolean("E2", True)
    page.write_number("F2", 46024, day)  # 2 January 2026 as the other reader has it too
    page.write_number("G2", 46024 + (3 * 3600 + 4 * 60 + 5) / 86400, day)
    page.write_datetime("H2", datetime.time(1, 2), clock)
    page.write_formula("I2", "=1/0", None, "#DIV/0!")
    page.write_formula("J2", "=A1+1", None, 7)
    page.write_formula("K2", '="ab"', None, "ab")
    page.write_number("L2", 40000, own)
    page.write_string("M2", " a\nb  ")
    page.write_rich_string("N2", "P1", book.add_format({"bold": True}), "-4")
    page.merge_range("B4:B6", "P102")
    page.set_row(4, None, None, {"hidden": True})
    page.write_string("C5", "x")
    page.write_string("D6", "ü\u20131 \x01")
    book.add_worksheet("Empty")
    hidden = book.add_worksheet("Old")
    hidden.hide()
    hidden.write_string(0, 0, "x")
    book.close()
    return sink.getvalue()


def test_a_workbook_of_all_kinds_of_cells(tmp_path: Path) -> None:
    runs, empty, old = read(tmp_path / "t.xlsx", workbook())
    assert grid(runs) == {
        (2, 1): "P101",
        (2, 2): 12.0,
        (2, 3): 12.5,
        (2, 4): True,
        (2, 5): DateCell("2026-01-02"),
        (2, 6): DateCell("2026-01-02 03:04:05"),
        (2, 7): DateCell("01:02:00"),
        (2, 8): ErrorCell("#DIV/0!"),
        (2, 9): 7.0,
        (2, 10): "ab",
        (2, 11): 40000.0,
        (2, 12): " a\nb  ",
        (2, 13): "P1-4",
        (4, 1): "P102",
        (5, 2): "x",
        (6, 3): "ü\u20131 \x01",
    }
    assert runs.merged == {(5, 1): (4, 1), (6, 1): (4, 1)}
    assert runs.hidden_rows == {5}
    assert (empty.rows, old.hidden, runs.hidden) == ((), True, False)


def test_a_formula_that_was_never_worked_out(tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(workbook())) as archive:
        parts = {name: archive.read(name).decode() for name in archive.namelist()}
    sheet = parts["xl/worksheets/sheet1.xml"]
    assert sheet.count("<f>A1+1</f><v>7</v>") == 1
    parts["xl/worksheets/sheet1.xml"] = sheet.replace("<f>A1+1</f><v>7</v>", "<f>A1+1</f>")
    cell = grid(read(tmp_path / "t.xlsx", packed(parts))[0])[2, 9]
    assert cell == ErrorCell("a formula that was never worked out")


def like_the_other_reader(cell: Cell) -> object:
    if cell is None or isinstance(cell, ErrorCell):
        return ""  # it gives an empty text for both
    return cell.text if isinstance(cell, DateCell) else cell


def of_the_other_reader(data: bytes) -> dict[tuple[int, int], object]:
    """What python-calamine, a reader of its own, finds in the first sheet."""
    with python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data)) as book:
        rows = book.get_sheet_by_index(0).to_python(skip_empty_area=False)
    found: dict[tuple[int, int], object] = {}
    for number, row in enumerate(rows, 1):
        for column, cell in enumerate(row):
            if cell != "":
                is_time = isinstance(cell, datetime.date | datetime.time)
                found[number, column] = str(cell) if is_time else cell
    return found


def test_the_same_as_another_reader_finds(tmp_path: Path) -> None:
    data = workbook()
    ours = {place: like_the_other_reader(cell) for place, cell in grid(read(tmp_path / "t.xlsx", data)[0]).items()}
    assert {place: cell for place, cell in ours.items() if cell != ""} == of_the_other_reader(data)


texts = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]) | st.sampled_from("\n\t &<'\""), max_size=12
)
table = st.lists(st.lists(texts, min_size=2, max_size=2), max_size=5)


@given(table, st.sampled_from([".xlsx", ".ods", ".csv"]))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_is_written_is_read_the_same(tmp_path: Path, rows: list[list[str]], suffix: str) -> None:
    sheet = OutSheet("Runs", (OutColumn("Wire"), OutColumn("Note")), tuple(tuple(row) for row in rows))
    data = sheet_bytes(Path(f"t{suffix}"), [sheet])
    path = tmp_path / f"t{suffix}"
    path.write_bytes(data)
    found = grid(
        read_sheets(
            path, lambda sheet: float("Wire" in sheet.rows[0].cells), separator="," if suffix == ".csv" else None
        )[0][0]
    )
    if suffix == ".csv":  # lines count there, not rows
        assert [cell for _, cell in sorted(found.items())] == [
            "Wire",
            "Note",
            *(cell for row in rows for cell in row if cell),
        ]
        return
    assert found == {
        (1, 0): "Wire", (1, 1): "Note",
        **{(number, column): cell for number, row in enumerate(rows, 2) for column, cell in enumerate(row) if cell},
    }  # fmt: skip
    # the other reader leaves tabs of an ODS out
    assert {place: str(cell).replace("\t", "") for place, cell in found.items() if str(cell) != "\t"} == {
        place: str(cell).replace("\t", "") for place, cell in of_the_other_reader(data).items() if str(cell) != "\t"
    }


def test_numbers_go_out_as_numbers_and_texts_as_texts(tmp_path: Path) -> None:
    columns = (OutColumn("Wire"), OutColumn("Length", number=True))
    rows = (("007", "1.5"), ("1-2", "007"), ("=1+1", "1e5"), ("12", "12"), ("http://x", "-3"))
    for suffix in (".xlsx", ".ods"):
        data = sheet_bytes(Path(f"t{suffix}"), [OutSheet("R", columns, rows)])
        cells = grid(read(tmp_path / f"t{suffix}", data)[0])
        assert [cells[row, 0] for row in range(2, 7)] == ["007", "1-2", "=1+1", "12", "http://x"]
        assert [cells[row, 1] for row in range(2, 7)] == [1.5, "007", "1e5", 12.0, -3.0]


ODS = """<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0">
<office:body><office:spreadsheet><table:table table:name="Runs">
<table:table-row table:number-rows-repeated="2"><table:table-cell/></table:table-row>
<table:table-row><table:table-cell office:value-type="string" table:number-rows-spanned="2"><text:p>P1<text:s text:c="2"/>x</text:p></table:table-cell>
<table:table-cell table:number-columns-repeated="2" office:value-type="float" office:value="4"><text:p>4</text:p></table:table-cell>
<table:table-cell office:value-type="date" office:date-value="2026-01-02"><text:p>2-Jan</text:p></table:table-cell>
<table:table-cell table:formula="of:=1/0" office:value-type="string" office:string-value=""><text:p>#DIV/0!</text:p></table:table-cell>
<table:table-cell office:value-type="boolean" office:boolean-value="true"><text:p>TRUE</text:p></table:table-cell></table:table-row>
<table:table-row table:visibility="filter"><table:covered-table-cell/><table:table-cell office:value-type="string"><text:p>a</text:p><text:p>b</text:p></table:table-cell></table:table-row>
<table:table-row table:number-rows-repeated="1048572"><table:table-cell table:number-columns-repeated="16384"/></table:table-row>
</table:table></office:spreadsheet></office:body></office:document-content>"""


def packed(parts: dict[str, str]) -> bytes:
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return sink.getvalue()


def ods(content: str) -> bytes:
    return packed({"mimetype": "application/vnd.oasis.opendocument.spreadsheet", "content.xml": content})


def test_an_ods_of_all_kinds_of_cells(tmp_path: Path) -> None:
    # element and attribute names: OASIS OpenDocument 1.3, part 3, section 9 (tables), from memory
    (sheet,) = read(tmp_path / "t.ods", ods(ODS))
    assert grid(sheet) == {
        (3, 0): "P1  x", (3, 1): 4.0, (3, 2): 4.0, (3, 3): DateCell("2026-01-02"), (3, 4): ErrorCell("#DIV/0!"), (3, 5): True,
        (4, 1): "a\nb",
    }  # fmt: skip
    assert sheet.merged == {(4, 0): (3, 0)}
    assert sheet.hidden_rows == {4}


def test_small_files_that_would_grow_large(tmp_path: Path) -> None:
    many = ODS.replace('number-columns-repeated="2"', 'number-columns-repeated="16000"').replace(
        '<table:table-row><table:table-cell office:value-type="string"', '<table:table-row table:number-rows-repeated="1000000"><table:table-cell office:value-type="string"'
    )  # fmt: skip
    with pytest.raises(InputError, match="more than 4000000 cells"):
        read(tmp_path / "t.ods", ods(many))
    entities = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]>' + ODS
    with pytest.raises(InputError, match="declares entities"):
        read(tmp_path / "t.ods", ods(entities))
    # two cells at the far corners of a sheet: no more than two cells
    sink = io.BytesIO()
    book = xlsxwriter.Workbook(sink)
    page = book.add_worksheet()
    page.write(0, 0, 1)
    page.write(1_048_575, 16_383, 1)
    book.close()
    assert len(grid(read(tmp_path / "t.xlsx", sink.getvalue())[0])) == 2


@pytest.mark.parametrize("name", ["t.xlsx", "t.ods", "t.csv"])
@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"PK",
        b"PK\x03\x04",
        b"PK\x05\x06" + b"\0" * 18,
        b"\xd0\xcf\x11\xe0" + b"\0" * 600,
        bytes(range(256)) * 4,
        workbook()[:3000],
    ],
)
def test_what_is_no_table_is_an_input_error(tmp_path: Path, name: str, data: bytes) -> None:
    error = outcome(tmp_path / name, data)
    if error is None:
        assert name == "t.csv"
        return
    assert error.exit_code == 2
    assert str(error).replace("\n", "").isprintable()


def outcome(path: Path, data: bytes) -> InputError | None:
    """How reading fails; None where it doesn't."""
    try:
        read(path, data)
    except InputError as error:
        return error
    return None


@given(st.data(), st.sampled_from([workbook(), ods(ODS)]))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_mutilated_workbook_is_read_or_is_an_input_error(tmp_path: Path, data: st.DataObject, whole: bytes) -> None:
    broken = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(broken) - 1))
        broken[at : at + data.draw(st.integers(0, 4))] = data.draw(st.binary(max_size=6))
    error = outcome(tmp_path / "t.xlsx", bytes(broken))
    assert error is None or error.hint or isinstance(error, FaultyFiles)


@given(st.data())
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_workbook_with_mutilated_parts_is_read_or_is_an_input_error(tmp_path: Path, data: st.DataObject) -> None:
    with zipfile.ZipFile(io.BytesIO(workbook())) as archive:
        parts = {name: archive.read(name).decode() for name in archive.namelist()}
    name = data.draw(st.sampled_from(sorted(parts)))
    text = parts[name]
    begin = data.draw(st.integers(0, len(text)))
    parts[name] = (
        text[:begin]
        + data.draw(st.text(alphabet='<>/"= 0123456789abcrst&;x', max_size=8))
        + text[begin + data.draw(st.integers(0, 9)) :]
    )
    error = outcome(tmp_path / "t.xlsx", packed(parts))
    assert error is None or error.hint


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_of_a_text_table(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes("Wire;Note\r\nW1;grün\r\n".encode(encoding))
    (sheet,), faults, notes = read_sheets(path, lambda sheet: float(sheet.rows[0].cells[:1] == ("Wire",)))
    assert faults == []
    assert grid(sheet)[2, 1] == "grün"
    assert bool(notes) == (encoding in ("utf-16", "cp1252"))


def test_files_that_are_not_there(tmp_path: Path) -> None:
    for path, text in ((tmp_path / "none.csv", "there is no such file"), (tmp_path, "is no plain file")):
        with pytest.raises(InputError, match=text):
            read_sheets(path, lambda sheet: 0.0)


def test_the_choice_of_a_sheet() -> None:
    one, two = Sheet("t", "One", ()), Sheet("t", "Two", ())
    assert choose_sheet([one, two], " two ", lambda sheet: 0.0, "t") == (two, "")
    with pytest.raises(InputError, match="has no sheet 'Three'") as caught:
        choose_sheet([one, two], "Three", lambda sheet: 0.0, "t")
    assert caught.value.hint == "Sheets: 'One', 'Two'."
