"""A text table of any separator becomes a sheet: fields in quotes, line breaks inside them, any line ending.

Every row that is written wrongly is a fault at its line; reading goes on with the next line.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Sequence

from benchcheck.harness.intake.sheet import Cell, Row, Sheet
from benchcheck.harness.reading.csv_text import LONGEST_CELL_LINES
from benchcheck.harness.reading.hints import unseen
from benchcheck.words.errors import FileFault, Place

SEPARATORS = (",", ";", "\t", "|")
MOST_COLUMNS = 500
_LOOKED_AT = 60  # lines by which the separator is told
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\n|\r|\Z)")

Score = Callable[[Sheet], float]


def csv_sheet(file: str, text: str, score: Score, *, separator: str | None = None) -> tuple[Sheet, list[FileFault]]:
    """The sheet in `text`.

    score      how well a sheet's headings are known; by it the separator is chosen where `separator` is None
    """
    lines = _lines(text.removeprefix("\ufeff"))
    if separator is None:
        first = lines[:_LOOKED_AT]
        tried = {mark: _read(file, first, mark)[0] for mark in SEPARATORS}
        separator = max(SEPARATORS, key=lambda mark: (score(tried[mark]), _evenness(tried[mark])))
    return _read(file, lines, separator)


def _lines(text: str) -> list[str]:
    """The lines with their ends made one: a line break inside a cell is `\\n`, whatever wrote it."""
    found = [line for line in _LINE.findall(text) if line]
    return [re.sub(r"(?:\r\n|\r)\Z", "\n", line) for line in found]


def _evenness(sheet: Sheet) -> float:
    """How many columns most rows agree on; 0 where there is but one."""
    widths = [len(row.cells) for row in sheet.rows if len(row.cells) > 1]
    if not widths:
        return 0.0
    usual = max(set(widths), key=lambda width: (widths.count(width), width))
    return widths.count(usual) / len(sheet.rows) * min(usual, 20)


def _read(file: str, lines: Sequence[str], separator: str) -> tuple[Sheet, list[FileFault]]:
    rows: list[Row] = []
    faults: list[FileFault] = []
    at = 0
    while at < len(lines):
        taken, cells, what = _row(lines, at, separator)
        if what:
            hint = 'Close it, or double it inside a field: "".' if "quote" in what else "Is this the right file?"
            faults.append(FileFault(Place(file, at + 1, 1), what, hint))
        elif any(cell for cell in cells):
            rows.append(Row(at + 1, cells))
        at += taken
    return Sheet(file, "", tuple(rows), separator=separator), faults


def _row(lines: Sequence[str], at: int, separator: str) -> tuple[int, tuple[Cell, ...], str]:
    """How many lines the row at `at` takes, its cells, and what is wrong with it."""
    line = lines[at]
    if '"' not in line:
        fields = line.rstrip("\n").split(separator)
    else:
        reader = csv.reader(lines[at : at + LONGEST_CELL_LINES + 1], delimiter=separator, strict=True)
        try:
            fields = next(reader)
        except csv.Error as error:
            if "field larger" in str(error):
                return 1, (), "a field is far too long"
            end = "unexpected end" in str(error) or reader.line_num > 1
            return 1, (), "a quote is never closed" if end else "text stands after a closing quote"
        except StopIteration:
            return 1, (), ""
        if len(fields) <= MOST_COLUMNS:
            return reader.line_num, tuple(field or None for field in fields), ""
    if len(fields) > MOST_COLUMNS:
        return 1, (), f"row has {len(fields)} fields"
    return 1, tuple(field or None for field in fields), ""


def unprintable(text: str) -> bool:
    """Whether a text holds what no cell should: control characters other than a line break."""
    return bool(unseen(text.replace("\n", " ").replace("\t", " ")))
