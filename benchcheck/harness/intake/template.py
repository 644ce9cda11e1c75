"""A workbook to fill in: runs, a unit's contacts, connectors and paths, and a page that says what stands where."""

from __future__ import annotations

from collections.abc import Mapping

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.intake.columns import TABLES, Column
from benchcheck.harness.intake.outward import OutColumn, OutSheet
from benchcheck.harness.model import Need, PathKind, Role, RunState

SHEETS: Mapping[str, str] = {
    "runs": "Runs",
    "unit contacts": "Unit contacts",
    "unit connectors": "Unit connectors",
    "unit paths": "Unit paths",
}
_CHOICES: Mapping[tuple[str, str], tuple[str, ...]] = {
    ("runs", "role"): tuple(Role),
    ("runs", "state"): tuple(RunState),
    ("unit contacts", "role"): tuple(Role),
    ("unit contacts", "need"): tuple(Need),
    ("unit connectors", "family"): tuple(name for name, family in FAMILIES.items() if not family.single),
    ("unit connectors", "gender"): ("pin", "socket", "none"),
    ("unit paths", "kind"): tuple(PathKind),
}
_HALVES = frozenset({"from", "to"})  # the template has the connector and the contact in columns of their own
_ABOUT = (
    ("Runs", "", "One row a conductor: `benchcheck import FILE PROFILE`."),
    ("Unit contacts", "", "One row a contact of one unit type: `benchcheck import FILE PROFILE --unit TYPE`."),
    ("Unit connectors", "", "One row a connector of that unit; its half, not the harness's."),
    ("Unit paths", "", "What the unit joins inside; may stay empty."),
    ("", "", "Every cell is a text, so that a contact such as 1-2 doesn't become a date. Rows that begin with # are passed over."),
)  # fmt: skip


def template_sheets() -> tuple[OutSheet, ...]:
    """The sheets of the template, without any rows but those of the page that explains it."""
    pages = [
        OutSheet(name, tuple(_column(table, column) for column in _columns(table)), ())
        for table, name in SHEETS.items()
    ]
    return (*pages, _explained())


def _columns(table: str) -> list[Column]:
    return [column for column in TABLES[table] if not (table == "runs" and column.name in _HALVES)]


def _column(table: str, column: Column) -> OutColumn:
    choices = tuple(str(choice) for choice in _CHOICES.get((table, column.name), ()))
    return OutColumn(column.heading, choices=choices, help=column.help, wide=max(12, len(column.heading) + 2))


def _explained() -> OutSheet:
    rows = list(_ABOUT)
    for table, name in SHEETS.items():
        for column in _columns(table):
            choices = ", ".join(_CHOICES.get((table, column.name), ()))
            text = f"{column.help} One of: {choices}." if choices else column.help
            rows.append((name, column.heading, text))
    heads = (OutColumn("Sheet", wide=18), OutColumn("Column", wide=20), OutColumn("What stands in it", wide=110))
    return OutSheet("What goes where", heads, tuple((sheet, column, text) for sheet, column, text in rows))
