"""A table as a spreadsheet holds it: rows of cells, each cell with the kind it was stored in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

# a number above this many digits has lost its last ones: a double holds 15
MOST_DIGITS = 15


@dataclass(frozen=True, slots=True)
class DateCell:
    """A cell that the spreadsheet holds as a date or time; `text` is ISO 8601."""

    text: str


@dataclass(frozen=True, slots=True)
class ErrorCell:
    """A cell whose formula failed: `#REF!`, or one whose formula was never worked out."""

    text: str


Cell = str | float | bool | DateCell | ErrorCell | None  # None: empty


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number in the sheet (the line where it begins in a text file), counted from 1, and its cells."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, column: int) -> Cell:
        return self.cells[column] if column < len(self.cells) else None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of a workbook, or a whole text file.

    file    name of the file, for places
    name    name of the sheet; empty for a text file
    merged  (row number, column) of each cell that is covered by a merged one -> the cell that shows in its place
    hidden_rows   numbers of the rows that the spreadsheet doesn't show
    hidden  whether the sheet itself isn't shown
    separator     what parts the fields of a text file; empty for a workbook
    """

    file: str
    name: str
    rows: tuple[Row, ...]
    merged: Mapping[tuple[int, int], tuple[int, int]] = field(default_factory=dict)
    hidden_rows: frozenset[int] = frozenset()
    hidden: bool = False
    separator: str = ""

    @property
    def width(self) -> int:
        return max((len(row.cells) for row in self.rows), default=0)


def letter(column: int) -> str:
    """What a spreadsheet calls a column: A for 0, AA for 26."""
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def column_of(name: str) -> int | None:
    """The column that a spreadsheet calls `name`, counted from 0; None where `name` is no such letter."""
    if not (1 <= len(name) <= 3 and name.isascii() and name.isalpha()):
        return None
    column = 0
    for sign in name.upper():
        column = column * 26 + ord(sign) - ord("A") + 1
    return column - 1


def number_text(number: float) -> str:
    """A number as it is written by hand: `12` for 12.0, `0.3` for 0.1 + 0.2."""
    if number == int(number) and abs(number) < 10**MOST_DIGITS:
        return str(int(number))
    near = round(number, 9)
    return repr(near) if near else repr(number)


def cell_text(cell: Cell) -> str:
    """The text of a cell, as it stands: nothing is stripped or mended."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, float):
        return number_text(cell)
    return cell.text


def is_empty(cell: Cell) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())
