"""Sheets of an XLSX workbook: values only, as they were last worked out. Nothing in it is ever executed.

The parts and elements are those of Office Open XML (ECMA-376, part 1: packages, spreadsheets), read with the standard
library. Cells whose formula failed, merged cells, hidden rows and dates are kept apart, because an import must say so.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from xml.etree import ElementTree

from benchcheck.harness.intake.sheet import Cell, DateCell, ErrorCell, Row, Sheet, column_of
from benchcheck.profile.zip_parts import Parts, TooMuch

_BUILT_IN_DATES = frozenset([*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)])
_REF = re.compile(r"([A-Z]{1,3})([0-9]{1,7})\Z")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
_NEVER_WORKED_OUT = ErrorCell("a formula that was never worked out")
MOST_ROWS, MOST_COLUMNS, MOST_CELLS = 1_048_576, 16_384, 4_000_000


def read_xlsx(file: str, archive: zipfile.ZipFile) -> list[Sheet]:
    """Every sheet with cells, in the workbook's order.

    Raises ValueError or KeyError, ParseError, BadZipFile where it is no such workbook, TooMuch where it is too large.
    """
    parts = Parts(archive)
    book_part = _main_part(parts)
    book = parts.tree(book_part)
    targets = _targets(parts, book_part)
    strings = _shared_strings(parts, targets)
    dates, since = _date_styles(parts, targets), _since(book)
    sheets = []
    for entry in _all(book, "sheet"):
        target = targets.get(_attribute(entry, "id"), ("", ""))
        if target[0].endswith("/worksheet"):
            reader = _SheetReader(file, entry.get("name") or "", strings, dates, since)
            sheets.append(reader.read(parts, target[1], hidden=entry.get("state", "visible") != "visible"))
    return sheets


def _name(tag: str) -> str:
    return tag.rpartition("}")[2]


def _all(tree: ElementTree.Element, name: str) -> Iterator[ElementTree.Element]:
    return (element for element in tree.iter() if _name(element.tag) == name)


def _attribute(element: ElementTree.Element, name: str) -> str:
    """An attribute of any name space: `r:id`."""
    return next((value for key, value in element.attrib.items() if _name(key) == name and "}" in key), "")


def _main_part(parts: Parts) -> str:
    for relation in _all(parts.tree("_rels/.rels"), "Relationship"):
        if relation.get("Type", "").endswith("/officeDocument"):
            return relation.get("Target", "").lstrip("/")
    raise ValueError("it names no workbook")


def _targets(parts: Parts, book_part: str) -> dict[str, tuple[str, str]]:
    """Identifier -> (type, part) of what the workbook is made of."""
    folder, name = posixpath.split(book_part)
    found = {}
    for relation in _all(parts.tree(f"{folder}/_rels/{name}.rels".lstrip("/")), "Relationship"):
        target = relation.get("Target", "")
        part = target.lstrip("/") if target.startswith("/") else posixpath.normpath(posixpath.join(folder, target))
        found[relation.get("Id", "")] = (relation.get("Type", ""), part)
    return found


def _shared_strings(parts: Parts, targets: dict[str, tuple[str, str]]) -> list[str]:
    part = next((part for kind, part in targets.values() if kind.endswith("/sharedStrings")), "")
    return [_text(entry) for entry in parts.tree(part) if _name(entry.tag) == "si"] if part in parts else []


def _text(entry: ElementTree.Element) -> str:
    """A text with its runs, without the readings that stand over it in some scripts."""
    pieces = []
    for child in entry:
        match _name(child.tag):
            case "t":
                pieces.append(child.text or "")
            case "r":
                pieces += [piece.text or "" for piece in child if _name(piece.tag) == "t"]
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), "".join(pieces))


def _date_styles(parts: Parts, targets: dict[str, tuple[str, str]]) -> frozenset[int]:
    """Numbers of the cell styles that show a number as a date or time."""
    part = next((part for kind, part in targets.values() if kind.endswith("/styles")), "")
    if part not in parts:
        return frozenset()
    tree = parts.tree(part)
    own = {entry.get("numFmtId"): entry.get("formatCode", "") for entry in _all(tree, "numFmt")}
    formats = next(_all(tree, "cellXfs"), None)
    found = set()
    for index, style in enumerate(formats if formats is not None else ()):
        number = style.get("numFmtId", "0")
        is_date = _is_date(own[number]) if number in own else number.isdigit() and int(number) in _BUILT_IN_DATES
        if is_date:
            found.add(index)
    return frozenset(found)


def _is_date(code: str) -> bool:
    bare = re.sub(r'"[^"]*"|\\.|_.|\*.|\[[^\]]*\]', "", code.partition(";")[0]).casefold()
    return bare != "general" and bool(re.search(r"[dmyhs]", bare))


def _since(book: ElementTree.Element) -> date:
    """The day 0 of the workbook's dates."""
    new = any(entry.get("date1904", "0") in ("1", "true") for entry in _all(book, "workbookPr"))
    return date(1904, 1, 1) if new else date(1899, 12, 30)


class _SheetReader:
    def __init__(self, file: str, name: str, strings: list[str], dates: frozenset[int], since: date) -> None:
        self.file = file
        self.name = name
        self.strings = strings
        self.dates = dates
        self.since = since

    def read(self, parts: Parts, part: str, *, hidden: bool) -> Sheet:
        rows: dict[int, dict[int, Cell]] = {}
        merged: dict[tuple[int, int], tuple[int, int]] = {}
        hidden_rows: set[int] = set()
        number = cells = 0
        for element in parts.each(part, ("row", "mergeCell")):
            if _name(element.tag) == "mergeCell":
                merged.update(_covered(element.get("ref", "")))
                if len(merged) > MOST_CELLS:
                    raise TooMuch(f"sheet {self.name} has more than {MOST_CELLS} merged cells")
                continue
            number = _whole(element.get("r")) or number + 1
            if number > MOST_ROWS:
                raise ValueError(f"row {number} is more than a sheet has")
            row = self._row(element)
            cells += len(row)
            if cells > MOST_CELLS:
                raise TooMuch(f"sheet {self.name} has more than {MOST_CELLS} cells")
            if row:
                rows.setdefault(number, {}).update(row)
                if element.get("hidden") in ("1", "true"):
                    hidden_rows.add(number)
        table = tuple(
            Row(number, tuple(row.get(column) for column in range(max(row) + 1)))
            for number, row in sorted(rows.items())
        )
        return Sheet(self.file, self.name, table, merged, frozenset(hidden_rows), hidden)

    def _row(self, element: ElementTree.Element) -> dict[int, Cell]:
        found: dict[int, Cell] = {}
        column = -1
        for cell in element:
            if _name(cell.tag) != "c":
                continue
            ref = _REF.match(cell.get("r", ""))
            named = column_of(ref[1]) if ref else None
            column = named if named is not None else column + 1
            if column >= MOST_COLUMNS:
                raise ValueError(f"a row has more than {MOST_COLUMNS} columns")
            value = self._cell(cell)
            if value is not None and value != "":
                found[column] = value
        return found

    def _cell(self, cell: ElementTree.Element) -> Cell:
        kind = cell.get("t", "n")
        inner = {_name(child.tag): child for child in cell}
        if kind == "inlineStr":
            return _text(inner["is"]) if "is" in inner else None
        written = (inner["v"].text or "") if "v" in inner else ""
        if not written:
            return _NEVER_WORKED_OUT if "f" in inner and kind != "str" else None
        match kind:
            case "s":
                return self.strings[int(written)]
            case "str":
                return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), written)
            case "b":
                return written.strip() in ("1", "true")
            case "e":
                return ErrorCell(written)
            case "d":
                return DateCell(written)
        number = float(written)
        if _whole(cell.get("s")) in self.dates:
            return self._date(number)
        return number

    def _date(self, number: float) -> Cell:
        """A day as ISO date; with the time where there is one, or the time alone for a number below 1."""
        try:
            moment = datetime.combine(self.since, datetime.min.time()) + timedelta(seconds=round(number * 86_400))
        except (OverflowError, ValueError):
            return number
        if 0 <= number < 1:
            return DateCell(moment.time().isoformat())
        # day 60 of 1900 never was, so days before it are counted one short
        moment += timedelta(days=1) if self.since.year == 1899 and number < 60 else timedelta()
        return DateCell(moment.date().isoformat() if number == int(number) else moment.isoformat(" "))


def _whole(text: str | None) -> int:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 10 else 0


def _covered(ref: str) -> dict[tuple[int, int], tuple[int, int]]:
    """The cells that a merged range covers -> its first cell."""
    first, _, last = ref.partition(":")
    one, other = _REF.match(first), _REF.match(last)
    if not (one and other):
        return {}
    left, right = column_of(one[1]) or 0, column_of(other[1]) or 0
    top, bottom = int(one[2]), int(other[2])
    if (right - left + 1) * (bottom - top + 1) > 100_000:
        return {}
    return {
        (row, column): (top, left)
        for row in range(top, bottom + 1)
        for column in range(left, right + 1)
        if (row, column) != (top, left)
    }
