"""The cells of one mapped table, row by row, in the words of the profile: names, contacts, numbers, words, texts."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

from benchcheck.harness.intake.columns import CONTACT, Column, Kind, columns_of
from benchcheck.harness.intake.csv_sheet import SEPARATORS, unprintable
from benchcheck.harness.intake.damage import Looked, NameColumn, clean, is_broken, look_at_name, look_at_text
from benchcheck.harness.intake.mapping import TableMapping
from benchcheck.harness.intake.quantities import NO_UNIT, Wrong, decimal_mark, read_quantity
from benchcheck.harness.intake.roles import WORDS, meaning
from benchcheck.harness.intake.sheet import Cell, Row, cell_text, is_empty
from benchcheck.harness.intake.taken import Account, PassedOver
from benchcheck.harness.reading.hints import did_you_mean, shown
from benchcheck.words.errors import FileFault

_TOTALS = re.compile(r"(?:grand |sub[- ]?)?totals?\b|sum\b|count\b|average\b", re.I)
_GAUGE = re.compile(r"(?:awg|ga|#)?\s*#?\s*(\d{1,4}(?:/0)?)(?:[.,]0+)?\s*(?:awg|ga)?\Z", re.I)
_EMPTY = frozenset({"-", "--", "n/a", "none", "nil"})  # what people write where there is nothing


@dataclass(frozen=True, slots=True)
class Ways:
    """How much may be put right.

    mend       take the probable content of a damaged cell where there is just one
    fill_down  take an empty connector from the row above, or from the merged cell
    """

    mend: bool = False
    fill_down: bool = False


@dataclass(slots=True)
class CellReader:
    """Reads the cells of one table; what is wrong goes into the account.

    known  whether a name stands as it is, (target, text) -> bool; then no damage is looked for
    """

    mapping: TableMapping
    account: Account
    ways: Ways
    known: Callable[[str, str, Row], bool]
    _columns: dict[str, NameColumn] = field(default_factory=dict)
    _mark: str = ""
    _above: dict[str, tuple[int, str]] = field(default_factory=dict)
    _places: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._places = {column.target: index for index, column in enumerate(self.mapping.columns) if column.target}

    def rows(self, header_row: int, identity: Sequence[str]) -> Iterator[Row]:
        """The rows below the headings that are rows of the table; the others are passed over, and listed.

        identity  the targets without which a row is none: all of them empty, and it is a title, a total or a comment
        """
        sheet, headings = self.account.sheet, self.account.headings
        below = []
        for row in sheet.rows:
            if row.number > header_row and not all(is_empty(cell) for cell in row.cells):
                why = self._no_row(row, headings, identity)
                if why:
                    text = " | ".join(cell_text(cell).strip() for cell in row.cells if not is_empty(cell))
                    self.account.passed_over.append(PassedOver(row.number, text[:200], why))
                elif self._has_all_fields(row):
                    below.append(row)
        for column in columns_of(self.mapping.kind).values():
            index = self._places.get(column.name)
            if index is not None and column.kind in (Kind.NAME, Kind.CONTACT):
                self._columns[column.name] = NameColumn.of(row.cell(index) for row in below)
        self._mark = self.mapping.decimal or decimal_mark(
            cell
            for target, index in self._places.items()
            if columns_of(self.mapping.kind)[target].kind is Kind.QUANTITY
            for row in below
            if isinstance(cell := row.cell(index), str)
        )
        self.account.decimal = self._mark if sheet.separator and self._mark == "," else ""
        hidden = [row.number for row in below if row.number in sheet.hidden_rows]
        if hidden:
            self.account.notes.append(
                f"{len(hidden)} of the rows don't show in the workbook and were read all the same: "
                + ", ".join(map(str, hidden[:12]))
                + (" ..." if len(hidden) > 12 else "")
            )
        yield from below

    def _has_all_fields(self, row: Row) -> bool:
        """Whether a row of a text table has a field for each heading; where not, its cells may have moved."""
        sheet, wide = self.account.sheet, len(self.account.headings)
        beyond = [index for index in range(wide, len(row.cells)) if not is_empty(row.cells[index])]
        if not sheet.separator or (not beyond and len(row.cells) >= wide):
            return True
        said = "tab" if sheet.separator == "\t" else sheet.separator
        what = f"row has {len(row.cells)} fields, the headings are {wide}"
        if beyond:
            hint = f"A text or number that holds '{said}' stands in double quotes."
        else:
            hint = "Is a separator missing, or the row cut off?"
        self.account.refuse(row.number, None, what, hint)
        return False

    def _no_row(self, row: Row, headings: Sequence[str], identity: Sequence[str]) -> str:
        """Why a row that isn't empty is no row of the table; empty where it is one."""
        cells = {target: row.cell(index) for target in identity if (index := self._places.get(target)) is not None}
        filled = [target for target, cell in cells.items() if not is_empty(cell)]
        texts = [cell_text(cell).strip() for cell in row.cells if not is_empty(cell)]
        if texts[0].startswith("#") and len(filled) < 2 and not is_broken(texts[0]):
            return "a comment"
        at = [cell_text(row.cell(index)).strip() for index in range(len(headings))]
        if sum(bool(text) for text in at) > 1 and all(
            " ".join(text.split()) == heading for text, heading in zip(at, headings, strict=True) if text
        ):
            return "the headings again"
        if len(filled) < 2 and any(_TOTALS.match(text) for text in texts[:2]):
            return "a row of totals"
        # a name alone is a row that lacks its ends, and a row with other separators is one that was not parted
        if len(texts) == 1 and (not filled or " " in texts[0]) and not _unparted(texts[0], len(headings)):
            return "a title"
        return ""

    def index(self, target: str) -> int | None:
        return self._places.get(target)

    def text(self, row: Row, column: Column) -> str:
        """The content of one column in a row. Empty where there is nothing, or where it is wrong (then it is said)."""
        index = self._places.get(column.name)
        if index is None:
            return self.mapping.fixed.get(column.name, "")
        cell = row.cell(index)
        if cell is None:
            return self._filled(row, column, index)
        match column.kind:
            case Kind.NAME | Kind.CONTACT:
                looked = look_at_name(cell, self._columns[column.name], lambda text: self.known(column.name, text, row))
            case Kind.GAUGE | Kind.QUANTITY:
                looked = look_at_text(cell, number=True)
            case _:
                looked = look_at_text(cell)
        text = self._settled(row, index, cell, looked)
        if not text:
            return self._filled(row, column, index) if is_empty(cell) else ""
        if text.casefold() in _EMPTY and column.kind is not Kind.TEXT and not self.known(column.name, text, row):
            return ""
        return self._read(row, index, column, text, cell)

    def _settled(self, row: Row, index: int, cell: Cell, looked: Looked) -> str:
        if looked.fault and not (self.ways.mend and looked.certain):
            hint = looked.hint + (" Or import with --mend." if looked.certain else "")
            self.account.refuse(row.number, index, looked.fault, hint)
            return ""
        if looked.fault or looked.mended:
            self.account.mend(
                row.number, index, cell_text(cell), looked.text, looked.fault or f"it held {looked.mended}"
            )
        return looked.text

    def _read(self, row: Row, index: int, column: Column, text: str, cell: Cell) -> str:
        match column.kind:
            case Kind.QUANTITY:
                unit = self.mapping.columns[index].unit
                found = read_quantity(
                    column.name, text, unit or _own_unit(column), self._mark if isinstance(cell, str) else "."
                )
                if isinstance(found, Wrong) and found.text == NO_UNIT:
                    self._no_unit(row, index, found.hint)
                    return ""
                if isinstance(found, Wrong):
                    self.account.refuse(row.number, index, found.text, found.hint)
                    return ""
                return found
            case Kind.GAUGE:
                gauge = _GAUGE.match(text)
                return gauge[1] if gauge else text
            case Kind.WORD if column.name in WORDS:
                value = meaning(column.name, text, self.mapping.words.get(column.name, {}))
                if not value:
                    known = sorted(set(WORDS[column.name].values()))
                    hint = did_you_mean(text.casefold(), known, what="One of")
                    hint += f" Or say what it means: --word {shown(text)}={column.name.upper()}."
                    self.account.refuse(row.number, index, f"{shown(text)} is no {column.name} that is known", hint)
                    return ""
                self.account.words[column.name, text, value] += 1
                return value
            case Kind.TEXT:
                flat = " ".join(text.split())
                if flat != text and "\n" in text:
                    self.account.mend(row.number, index, text, flat, "a line break in the cell")
                return flat if "\n" in text else text
        if unprintable(text):
            self.account.refuse(row.number, index, f"{shown(text)} holds an unseen character", "Type the text again.")
            return ""
        return " ".join(text.split())

    def _filled(self, row: Row, column: Column, index: int) -> str:
        """What stands for an empty cell of a connector's column: the merged cell, or the row above. Only when asked."""
        if column.kind is not Kind.CONTACT or not column.name.endswith("connector"):
            return ""
        origin = self.account.sheet.merged.get((row.number, index))
        above = self._above.get(column.name)
        if not self.ways.fill_down:
            return ""
        if origin is not None:
            text = clean(cell_text(self._cell(*origin)))[0]
        elif is_empty(self._beside(row, column)):
            return ""  # an end that is empty altogether: that of a shield that floats, or of a run that lacks it
        else:
            text = above[1] if above and above[0] == row.number - 1 else ""
        if text:
            self.account.mend(row.number, index, "", text, "filled down from the cell above")
            self._above[column.name] = (row.number, text)
        return text

    def _beside(self, row: Row, column: Column) -> Cell:
        """The cell of the contact that goes with a connector's."""
        index = self._places.get(f"{column.name.partition('.')[0]}.{CONTACT}")
        return None if index is None else row.cell(index)

    def _cell(self, number: int, column: int) -> Cell:
        return next((row.cell(column) for row in self.account.sheet.rows if row.number == number), None)

    def _no_unit(self, row: Row, index: int, hint: str) -> None:
        """A unit that is missing is missing in the whole column: said once, at the first number without one."""
        if all(fault.text.partition(": ")[2] != NO_UNIT for fault in self.account.table_faults):
            what = f"{self.account.column(index)}: {NO_UNIT}"
            self.account.table_faults.append(FileFault(self.account.place(row.number, index), what, hint))

    def remember(self, row: Row, column: str, text: str) -> None:
        """Note what stands in a connector's cell, for the row below."""
        if text:
            self._above[column] = (row.number, text)

    def above(self, row: Row, column: str) -> str:
        """What stands in the cell above an empty one."""
        found = self._above.get(column)
        return found[1] if found and found[0] == row.number - 1 else ""

    def kept(self, row: Row) -> tuple[str, ...]:
        """The texts of the columns that are kept as they are."""
        return tuple(_one_line_end(cell_text(row.cell(index))) for index in self.mapping.kept)


def _unparted(text: str, wide: int) -> bool:
    """Whether a text that stands alone in a row holds the row's fields, parted by something else than the others."""
    return wide > 2 and any(2 * (text.count(mark) + 1) >= wide for mark in SEPARATORS)


def _own_unit(column: Column) -> str:
    """The unit of a column whose heading names none; none for a length: feet and metres are too near to each other."""
    return "" if column.name == "length_m" else column.unit


def _one_line_end(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")
