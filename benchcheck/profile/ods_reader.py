"""Sheets of an ODS workbook: values only, as they were last worked out. Nothing in it is ever executed.

The elements are those of OpenDocument 1.3 (OASIS, part 3: spreadsheets), read with the standard library.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from xml.etree import ElementTree

from benchcheck.harness.intake.sheet import Cell, DateCell, ErrorCell, Row, Sheet
from benchcheck.profile.xlsx_reader import MOST_CELLS, MOST_COLUMNS, MOST_ROWS
from benchcheck.profile.zip_parts import Parts, TooMuch

_NUMBERS = frozenset({"float", "percentage", "currency"})
_FAILED = re.compile(r"#(?:REF!|N/A|VALUE!|NAME\?|DIV/0!|NULL!|NUM!)\Z|(?:Err|#ERR):?\s?\d+\Z", re.I)
# what stands beside a cell's own text and is none of it
_BESIDE = frozenset({"annotation"})


def read_ods(file: str, archive: zipfile.ZipFile) -> list[Sheet]:
    """Every sheet, in the workbook's order.

    Raises ValueError or KeyError, ParseError, BadZipFile where it is no such workbook, TooMuch where it is too large.
    """
    tree = Parts(archive).tree("content.xml")
    hidden = _hidden_styles(tree)
    return [_sheet(file, table, hidden) for table in _all(tree, "table") if _is_sheet(table)]


def _name(tag: str) -> str:
    return tag.rpartition("}")[2]


def _all(tree: ElementTree.Element, name: str) -> Iterator[ElementTree.Element]:
    return (element for element in tree.iter() if _name(element.tag) == name)


def _get(element: ElementTree.Element, name: str, default: str = "") -> str:
    return next((value for key, value in element.attrib.items() if _name(key) == name), default)


def _is_sheet(table: ElementTree.Element) -> bool:
    return "table" in table.tag and bool(_get(table, "name"))


def _hidden_styles(tree: ElementTree.Element) -> frozenset[str]:
    return frozenset(
        _get(style, "name")
        for style in _all(tree, "style")
        if any(_get(entry, "display") == "false" for entry in _all(style, "table-properties"))
    )


def _sheet(file: str, table: ElementTree.Element, hidden_styles: frozenset[str]) -> Sheet:
    rows: list[Row] = []
    merged: dict[tuple[int, int], tuple[int, int]] = {}
    hidden_rows: set[int] = set()
    number = 1
    count = 0
    for element in _rows(table):
        times = _times(element, "number-rows-repeated")
        if number + times - 1 > MOST_ROWS:
            times = MOST_ROWS - number + 1
        cells = _cells(element, number, merged)
        if cells:
            count += len(cells) * times
            if count + len(merged) > MOST_CELLS:
                raise TooMuch(f"sheet {_get(table, 'name')} has more than {MOST_CELLS} cells")
            rows += [Row(number + further, cells) for further in range(times)]
            if _get(element, "visibility") in ("collapse", "filter"):
                hidden_rows.update(range(number, number + times))
        number += times
    hidden = _get(table, "style-name") in hidden_styles
    return Sheet(file, _get(table, "name"), tuple(rows), merged, frozenset(hidden_rows), hidden)


def _rows(table: ElementTree.Element) -> Iterator[ElementTree.Element]:
    """The rows of a table, those in groups too, without tables that stand inside a cell."""
    for child in table:
        match _name(child.tag):
            case "table-row":
                yield child
            case "table-row-group" | "table-header-rows" | "table-rows":
                yield from _rows(child)


def _cells(row: ElementTree.Element, number: int, merged: dict[tuple[int, int], tuple[int, int]]) -> tuple[Cell, ...]:
    cells: list[Cell] = []
    empty = 0
    for element in row:
        if _name(element.tag) not in ("table-cell", "covered-table-cell"):
            continue
        times = _times(element, "number-columns-repeated")
        cell = _cell(element)
        column = len(cells) + empty
        wide, high = _times(element, "number-columns-spanned"), _times(element, "number-rows-spanned")
        if 1 < wide * high <= 100_000 and len(merged) < MOST_CELLS:
            merged.update(
                ((number + down, column + right), (number, column))
                for down in range(high)
                for right in range(wide)
                if down or right
            )
        if cell is None or cell == "":
            empty += times
            continue
        if column + times > MOST_COLUMNS:
            raise ValueError(f"a row has more than {MOST_COLUMNS} columns")
        cells += [None] * empty + [cell] * times
        empty = 0
    return tuple(cells)


def _cell(element: ElementTree.Element) -> Cell:
    kind = _get(element, "value-type")
    text = _text(element)
    if _get(element, "formula") and (_FAILED.match(text) or _get(element, "value-type") == "error"):
        return ErrorCell(text or "#N/A")
    if kind in _NUMBERS:
        return float(_get(element, "value"))
    if kind == "boolean":
        return _get(element, "boolean-value") == "true"
    if kind in ("date", "time"):
        written = _get(element, f"{kind}-value")
        return DateCell(written.removesuffix("T00:00:00"))
    if kind == "string" and not text:
        return _get(element, "string-value")
    if not kind and not text and _get(element, "formula"):
        return ErrorCell("a formula that was never worked out")
    return text


def _text(cell: ElementTree.Element) -> str:
    """The paragraphs of a cell as lines."""
    return "\n".join("".join(_pieces(child)) for child in cell if _name(child.tag) == "p")


def _pieces(element: ElementTree.Element) -> Iterator[str]:
    yield element.text or ""
    for child in element:
        match _name(child.tag):
            case "s":
                yield " " * min(_times(child, "c"), 1000)
            case "tab":
                yield "\t"
            case "line-break":
                yield "\n"
            case name if name not in _BESIDE:
                yield from _pieces(child)
        yield child.tail or ""


def _times(element: ElementTree.Element, name: str) -> int:
    text = _get(element, name, "1")
    return max(1, min(int(text), MOST_ROWS)) if text.isascii() and text.isdigit() and len(text) < 10 else 1
