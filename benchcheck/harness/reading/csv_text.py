"""A table of separated values with the place of every field.

Comma, semicolon or tab; fields in double quotes; comment lines that start with #; blank lines; any line ending.
What is wrong is returned as faults, each with line and column; nothing is dropped in silence.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.harness.reading.hints import did_you_mean, shown
from benchcheck.words.errors import FileFault, Place

SEPARATORS = (",", ";", "\t")
# a cell with line breaks in it ends within this many lines, else its quote was never closed
LONGEST_CELL_LINES = 20
LONGEST_FIELD = 2000
_LINE_END = re.compile(r"\r\n|\n|\r")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line, and for each column the text (stripped) and the column where it begins."""

    line: int
    texts: dict[str, str]
    columns: dict[str, int]


@dataclass(frozen=True, slots=True)
class _Field:
    text: str
    column: int


def read_table(
    file: str, text: str, required: Sequence[str], optional: Sequence[str] = ()
) -> tuple[list[Row], list[FileFault]]:
    """Rows of a table whose first line that is neither blank nor comment names the columns."""
    lines = _LINE_END.split(text.removeprefix("\ufeff"))
    start = next((number for number, line in enumerate(lines) if not _passed_over(line)), None)
    header_hint = f"The first line names the columns: {','.join(required)}."
    if start is None:
        return [], [FileFault(Place(file, 1, 1), "has no header and no rows", header_hint)]
    known = (*required, *optional)
    separator = max(SEPARATORS, key=lambda mark: _known_names(lines[start], mark, known))
    names, width, faults = _header(file, lines[start], start + 1, separator, required, known)
    if not any(name in known for name in names):
        what = f"is no header that is known: {shown(lines[start])}"
        return [], [FileFault(Place(file, start + 1, 1), what, header_hint)]
    rows: list[Row] = []
    number = start + 1
    while number < len(lines):
        line = lines[number]
        number += 1
        if _passed_over(line):
            continue
        fields, fault, extra = _split(file, lines, number, separator)
        number += extra
        if fault is not None:
            faults.append(fault)
            continue
        if not any(field.text for field in fields):
            continue  # a spreadsheet's empty row: separators only
        row, fault = _row(file, number - extra, names, width, fields, separator)
        faults += [fault] if fault else []
        if row is not None:
            rows.append(row)
    return rows, faults


def _passed_over(line: str) -> bool:
    stripped = line.strip()
    return not stripped or stripped.startswith(("#", '"#'))


def _known_names(header: str, separator: str, known: Sequence[str]) -> int:
    return sum(cell.strip().strip('"').strip().casefold() in known for cell in header.split(separator))


def _header(
    file: str, line: str, number: int, separator: str, required: Sequence[str], known: Sequence[str]
) -> tuple[list[str], int, list[FileFault]]:
    """Names of the columns, how many fields the header has with its empty last ones, and its faults."""
    faults: list[FileFault] = []
    names: list[str] = []
    fields, fault, _ = _split(file, [line], number, separator, first=number)
    if fault is not None:
        return [], 0, [fault]
    width = len(fields)
    while fields and not fields[-1].text:
        fields.pop()
    first_at: dict[str, int] = {}
    for entry in fields:
        name = entry.text.casefold()
        place = Place(file, number, entry.column)
        if name in first_at:
            what = f"column {shown(name)} is there twice, first at column {first_at[name]}"
            faults.append(FileFault(place, what, "Keep one of them."))
        elif not name:
            faults.append(FileFault(place, "a column has no name", f"Columns: {', '.join(known)}."))
        elif name not in known:
            hint = did_you_mean(name, known, what="Columns", most=20)
            faults.append(FileFault(place, f"unknown column {shown(entry.text)}", hint))
        first_at.setdefault(name, entry.column)
        names.append(name)
    end = Place(file, number, len(line) + 1)
    for name in required:
        if name not in first_at:
            faults.append(FileFault(end, f"column '{name}' is missing", f"Add it to the header: {','.join(required)}."))
    return names, width, faults


def _row(
    file: str, number: int, names: list[str], width: int, fields: list[_Field], separator: str
) -> tuple[Row | None, FileFault | None]:
    if len(fields) > width or any(field.text for field in fields[len(names) :]):
        first = next((field for field in fields[len(names) :] if field.text), fields[-1])
        what = f"row has {len(fields)} fields, the header {len(names)}"
        said = "tab" if separator == "\t" else separator
        hint = f"A text that holds '{said}' stands in double quotes; a decimal comma is written as a point."
        return None, FileFault(Place(file, number, first.column), what, hint)
    if len(fields) < len(names):
        what = f"row has {len(fields)} fields, the header {len(names)}"
        return None, FileFault(
            Place(file, number, fields[-1].column), what, "Is a separator missing, or the row cut off?"
        )
    for entry in fields:
        if len(entry.text) > LONGEST_FIELD:
            what = f"a field is {len(entry.text)} characters long"
            return None, FileFault(Place(file, number, entry.column), what, f"At most {LONGEST_FIELD}.")
    texts = {name: field.text for name, field in zip(names, fields, strict=False)}
    columns = {name: field.column for name, field in zip(names, fields, strict=False)}
    return Row(number, texts, columns), None


def _split(
    file: str, lines: Sequence[str], number: int, separator: str, *, first: int = 1
) -> tuple[list[_Field], FileFault | None, int]:
    """Fields of line `number` (of `lines`, the first of which has the number `first`).

    Also how many following lines belong to a cell with line breaks, which is a fault in itself.
    """
    line = lines[number - first]
    fields: list[_Field] = []
    at = 0
    if '"' not in line:
        for cell in line.split(separator):
            fields.append(_field(cell, at))
            at += len(cell) + 1
        return fields, None, 0
    while True:
        begin = at
        while at < len(line) and line[at] == " ":
            at += 1
        if at < len(line) and line[at] == '"':
            text, after = _quoted(line, at)
            if after is None:
                extra = _closing_line(lines, number - first)
                what = "a quoted field goes over several lines" if extra else "a quote is never closed"
                hint = "Take the line break out of the cell." if extra else "Close it, or double it inside a field."
                return [], FileFault(Place(file, number, at + 1), what, hint), extra
            end = line.find(separator, after)
            end = len(line) if end < 0 else end
            if line[after:end].strip():
                what = f"text after the closing quote: {shown(line[after:end].strip())}"
                return [], FileFault(Place(file, number, after + 1), what, 'A quote inside a field is doubled: "".'), 0
            fields.append(_Field(text.strip(), at + 1))
        else:
            end = line.find(separator, begin)
            end = len(line) if end < 0 else end
            fields.append(_field(line[begin:end], begin))
        if end >= len(line):
            return fields, None, 0
        at = end + 1


def _field(cell: str, begin: int) -> _Field:
    text = cell.strip()
    return _Field(text, begin + 1 + (len(cell) - len(cell.lstrip()) if text else 0))


def _quoted(line: str, at: int) -> tuple[str, int | None]:
    """Text of the quoted field that opens at `at`, and the offset after its closing quote, None where there is none."""
    pieces: list[str] = []
    begin = at + 1
    while (close := line.find('"', begin)) >= 0:
        pieces.append(line[begin:close])
        if line[close + 1 : close + 2] != '"':
            return "".join(pieces), close + 1
        pieces.append('"')
        begin = close + 2
    return "", None


def _closing_line(lines: Sequence[str], index: int) -> int:
    """How many lines further the cell that is open at the end of line `index` is closed; 0 where it never is."""
    for further in range(1, LONGEST_CELL_LINES + 1):
        if index + further >= len(lines):
            return 0
        if lines[index + further].count('"') % 2:
            return further
    return 0
