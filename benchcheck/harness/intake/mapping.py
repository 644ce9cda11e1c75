"""Which heading of a table goes where: the mapping, as it is remembered in import.toml.

schema = 1
kind = "runs"                # what the table lists
table = "bay.xlsx"           # the last table that was read by it
sheet = "Wiring"
decimal = ","                # decimal mark of its texts
[[columns]]                  # every column, in the table's order
heading = "Near conn"
goes_to = "from.connector"   # left out: kept as it is in pins_extra.csv
unit = "mm"                  # of a quantity
numbers = true               # a kept column whose cells are all numbers
[words.role]                 # its words for a role
PWR = "power"
[fixed]                      # what stands in every row, without a column
role = "signal"
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import Field

from benchcheck.harness.intake.columns import columns_of
from benchcheck.harness.intake.quantities import UNITS
from benchcheck.harness.reading.forms import SCHEMA, Form, Whole
from benchcheck.harness.reading.hints import did_you_mean, shown
from benchcheck.harness.reading.read_forms import read_form, read_list, schema_fault
from benchcheck.harness.reading.toml_text import read_toml
from benchcheck.words.errors import FileFault

MAPPING_FILE = "import.toml"
UNIT_MAPPING_FILE = "import_unit.toml"


@dataclass(frozen=True, slots=True)
class MappedColumn:
    """One column of the other table. `target` is empty for one that is kept as it is."""

    heading: str
    target: str = ""
    unit: str = ""
    numbers: bool = False


@dataclass(frozen=True, slots=True)
class TableMapping:
    """The columns of one table in its order, and how its cells are read."""

    kind: str
    columns: tuple[MappedColumn, ...]
    table: str = ""
    sheet: str = ""
    decimal: str = ""
    separator: str = ""
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    fixed: Mapping[str, str] = field(default_factory=dict)

    def at(self, target: str) -> int | None:
        """The column that goes to `target`, counted from 0."""
        return next((index for index, column in enumerate(self.columns) if column.target == target), None)

    @property
    def targets(self) -> frozenset[str]:
        return frozenset(column.target for column in self.columns if column.target)

    @property
    def kept(self) -> tuple[int, ...]:
        """The columns that benchcheck doesn't know, which are kept as they are."""
        return tuple(index for index, column in enumerate(self.columns) if not column.target)


class MappedColumnForm(Form):
    """[[columns]]: a column of the other table."""

    heading: str = Field(strict=True, max_length=2000, description="its heading, as the table has it")
    goes_to: str | None = Field(None, strict=True, description="column of the profile; left out: kept as it is")
    unit: str | None = Field(None, strict=True, description="unit of its numbers")
    numbers: bool = Field(False, strict=True, description="whether its cells are numbers, in a column that is kept")


class MappingForm(Form):
    """The top of import.toml."""

    schema_: Whole = Field(alias="schema", description="version of this form: 1")
    kind: Literal["runs", "unit contacts", "unit connectors", "unit paths"] = Field(description="what the table lists")
    table: str = Field("", strict=True, description="the last table that was read by it")
    sheet: str = Field("", strict=True, description="the sheet of its workbook")
    decimal: Literal["", ",", "."] = Field("", description="decimal mark of its texts")
    separator: Literal["", ",", ";", "\t", "|"] = Field("", description="what parts the fields of a text table")
    columns: tuple[dict[str, Any], ...] = Field(description="its columns, in order")
    words: dict[Literal["role", "state", "need"], dict[str, str]] = Field(
        {}, description="its words, and ours for them"
    )
    fixed: dict[str, str] = Field({}, description="what stands in every row, without a column")


def read_mapping(file: str, text: str) -> tuple[TableMapping | None, list[FileFault]]:
    """The mapping in `text`; None with its faults."""
    doc, faults = read_toml(file, text)
    if doc is None:
        return None, faults
    if fault := schema_fault(doc):
        return None, [fault]
    form = read_form(MappingForm, doc, (), dict(doc.values), faults)
    columns = read_list(MappedColumnForm, doc, ("columns",), doc.values.get("columns"), faults)
    if form is None:
        return None, faults
    known = columns_of(form.kind)
    seen: set[str] = set()
    for path, column in columns:
        target = column.goes_to or ""
        if target and target not in known:
            hint = did_you_mean(target, known, what="Columns", most=20)
            faults.append(FileFault(doc.place((*path, "goes_to")), f"goes_to: unknown column {shown(target)}", hint))
        elif target in seen:
            faults.append(FileFault(doc.place((*path, "goes_to")), f"two columns go to {target}", "Keep one of them."))
        elif column.unit is not None and column.unit not in UNITS.get(target, {}):
            hint = f"One of: {', '.join(UNITS[target])}." if target in UNITS else "Only a quantity has one."
            faults.append(FileFault(doc.place((*path, "unit")), f"unit: unknown value {shown(column.unit)}", hint))
        seen.add(target) if target else None
    if faults:
        return None, faults
    mapped = tuple(MappedColumn(c.heading, c.goes_to or "", c.unit or "", c.numbers) for _, c in columns)
    return (
        TableMapping(
            form.kind,
            mapped,
            form.table,
            form.sheet,
            form.decimal,
            form.separator,
            {str(name): table for name, table in form.words.items()},
            form.fixed,
        ),
        [],
    )


def mapping_text(mapping: TableMapping) -> str:
    """The mapping as the text of its file."""
    import tomli_w

    top: dict[str, object] = {"schema": SCHEMA, "kind": mapping.kind}
    for name in ("table", "sheet", "decimal", "separator"):
        if value := getattr(mapping, name):
            top[name] = value
    pieces = ["# Which heading of the table goes where; written and read by `benchcheck import` and `export`.\n"]
    pieces.append(tomli_w.dumps(top))
    for column in mapping.columns:
        entry: dict[str, object] = {"heading": column.heading}
        entry |= {"goes_to": column.target} if column.target else {}
        entry |= {"unit": column.unit} if column.unit else {}
        entry |= {"numbers": True} if column.numbers else {}
        pieces.append("\n[[columns]]\n" + tomli_w.dumps(entry))
    words = {name: dict(table) for name, table in mapping.words.items() if table}
    rest = ({"words": words} if words else {}) | ({"fixed": dict(mapping.fixed)} if mapping.fixed else {})
    return "".join(pieces) + ("\n" + tomli_w.dumps(rest) if rest else "")
