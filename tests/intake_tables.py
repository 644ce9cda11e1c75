"""Tables as rows of cells, for the tests of the import."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sample_profile import HARNESS

from benchcheck.harness.intake.book import contact_book
from benchcheck.harness.intake.find_header import Asked, Header, find_header
from benchcheck.harness.intake.map_columns import map_columns
from benchcheck.harness.intake.mapping import TableMapping
from benchcheck.harness.intake.read_cells import Ways
from benchcheck.harness.intake.sheet import Cell, Row, Sheet
from benchcheck.harness.intake.take_runs import take_runs
from benchcheck.harness.intake.taken import Account
from benchcheck.words.errors import FileFault

BOOK = contact_book("harness.toml", HARNESS)
HEAD = ("Wire no", "From", "To", "AWG", "Length (m)", "Role")


def sheet_of(rows: Sequence[Sequence[Cell]], name: str = "Runs", **more: object) -> Sheet:
    """Rows from row 1 on; a row without cells is left out, as a reader leaves it out."""
    numbered = tuple(Row(number, tuple(cells)) for number, cells in enumerate(rows, 1) if len(cells))
    return Sheet("t.xlsx", name, numbered, **more)  # type: ignore[arg-type]


def mapped(
    sheet: Sheet,
    kind: str = "runs",
    columns: Mapping[str, str] | None = None,
    known: TableMapping | None = None,
    fixed: Mapping[str, str] | None = None,
    **asked: object,
) -> tuple[Header, TableMapping, list[FileFault], list[str]]:
    said = Asked(columns or {}, **asked)  # type: ignore[arg-type]
    header = find_header(kind, sheet, said, known)
    assert isinstance(header, Header), header
    return (header, *map_columns(kind, sheet, header, said, known, fixed or {}))


def take(
    rows: Sequence[Sequence[Cell]], ways: Ways | None = None, columns: Mapping[str, str] | None = None, **more: object
) -> tuple[Account, TableMapping]:
    """A table of runs, taken into the sample profile."""
    sheet = sheet_of(rows, **more)
    header, mapping, faults, _ = mapped(sheet, columns=columns)
    return take_runs(sheet, header, mapping, ways or Ways(), BOOK, faults), mapping


def told(account: Account) -> list[tuple[int | None, int | None, str]]:
    """Row, column and text of every fault."""
    return [(fault.place.line, fault.place.column, fault.text) for fault in account.faults]
