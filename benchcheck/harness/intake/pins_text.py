"""The texts that an import writes: pins.csv, pins_extra.csv beside it, and the list of refused rows."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence

from benchcheck.harness.reading.read_pins import OPTIONAL, REQUIRED
from benchcheck.words.errors import FileFault, Place

PINS_EXTRA_FILE = "pins_extra.csv"
REFUSED_FILE = "pins_refused.csv"
_ORDER = ("wire", "from", "to", "awg", "length_m", "role", "cable", "shield", "colour", "note", "state")
assert set(_ORDER) == {*REQUIRED, *OPTIONAL}


def pin_columns(rows: Iterable[Mapping[str, str]]) -> tuple[str, ...]:
    """The columns of pins.csv: `state` only where a row has one."""
    return _ORDER if any(row.get("state") for row in rows) else _ORDER[:-1]


def pin_line(row: Mapping[str, str], columns: Sequence[str]) -> tuple[str, dict[int, str]]:
    """One line of pins.csv, and at which character (from 1) each of its columns begins."""
    fields, begins, at = [], {}, 1
    for name in columns:
        written = field(row.get(name, ""))
        begins[at] = name
        fields.append(written)
        at += len(written) + 1
    return ",".join(fields), begins


def field(text: str) -> str:
    """A field as it is written in a table with commas; the reader takes line breaks and blanks at its ends for faults."""
    if any(sign in text for sign in ',;\t|"') or text.startswith("#"):
        return '"' + text.replace('"', '""') + '"'
    return text


def pins_text(rows: Sequence[Mapping[str, str]]) -> str:
    columns = pin_columns(rows)
    return "".join(line + "\n" for line in (",".join(columns), *(pin_line(row, columns)[0] for row in rows)))


def any_field(text: str) -> str:
    """A field of any text, line breaks too."""
    return '"' + text.replace('"', '""') + '"' if any(sign in text for sign in ',"\n\r') else text


def table_text(rows: Iterable[Sequence[str]]) -> str:
    """Rows of any texts, commas between them."""
    return "".join(",".join(map(any_field, row)) + "\n" for row in rows)


def read_extra(text: str) -> tuple[tuple[str, ...], dict[str, tuple[str, ...]], list[FileFault]]:
    """Headings of pins_extra.csv, and what stands under them for each wire."""
    lines = csv.reader([line + "\n" for line in text.removeprefix("\ufeff").split("\n")], strict=True)
    faults: list[FileFault] = []
    rows: list[tuple[int, list[str]]] = []
    begin = 1
    while True:
        try:
            rows += [(begin, row)] if (row := next(lines)) else []
        except StopIteration:
            break
        except csv.Error as error:
            hint = "Import the table again, or correct the quotes of that line."
            faults.append(FileFault(Place(PINS_EXTRA_FILE, begin), f"can't be read: {error}", hint))
            break
        begin = lines.line_num + 1
    if not rows:
        return (), {}, faults
    head = rows[0][1]
    found: dict[str, tuple[str, ...]] = {}
    for line, row in rows[1:]:
        if len(row) != len(head):
            what = f"row has {len(row)} fields, the header {len(head)}"
            faults.append(FileFault(Place(PINS_EXTRA_FILE, line), what, "Import the table again, or mend that line."))
            continue
        if row[0] in found:
            faults.append(FileFault(Place(PINS_EXTRA_FILE, line), f"wire {row[0]} is there twice", "Keep one of them."))
        found[row[0]] = tuple(row[1:])
    return tuple(head[1:]), found, faults
