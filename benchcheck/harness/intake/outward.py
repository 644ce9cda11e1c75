"""The table as it goes out again: original headings, order and units, with the columns that benchcheck doesn't know."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchcheck.harness.intake.columns import CONNECTOR, CONTACT, END_A, END_B, RUNS
from benchcheck.harness.intake.mapping import MappedColumn, TableMapping
from benchcheck.harness.intake.pins_text import read_extra
from benchcheck.harness.intake.quantities import back
from benchcheck.harness.model import Run, RunState
from benchcheck.harness.wire import awg_text
from benchcheck.words.contact import pin_of, ref_of
from benchcheck.words.errors import FileFault


@dataclass(frozen=True, slots=True)
class OutColumn:
    """A column of a table to be written. `number`: its cells are numbers; `choices`: the few texts that it may hold."""

    heading: str
    number: bool = False
    choices: tuple[str, ...] = ()
    help: str = ""
    wide: int = 14


@dataclass(frozen=True, slots=True)
class OutSheet:
    name: str
    columns: tuple[OutColumn, ...]
    rows: tuple[tuple[str, ...], ...]


# what an empty cell means
_UNSAID = {"state": RunState.WIRED.value}
PLAIN_MAPPING = TableMapping(
    "runs",
    tuple(MappedColumn(c.name, c.name, c.unit) for c in RUNS if "." not in c.name),
)


def outward(runs: Sequence[Run], mapping: TableMapping, extra: str) -> tuple[OutSheet, list[FileFault], list[str]]:
    """The runs as rows of the mapped table; faults of pins_extra.csv (`extra`, its text); and what is to be said."""
    headings, kept, faults = read_extra(extra)
    notes: list[str] = []
    mapped = tuple(mapping.columns[index].heading for index in mapping.kept)
    orphans = [wire for wire in kept if wire not in {run.wire for run in runs}]
    if orphans:
        listed = ", ".join(orphans[:8]) + (" ..." if len(orphans) > 8 else "")
        notes.append(f"pins_extra.csv has {len(orphans)} rows whose wire is in pins.csv no more, left out: {listed}")
    columns = mapping.columns
    if headings != mapped:  # the mapping is another one, or there is none: the kept columns come last
        columns = (*(column for column in columns if column.target), *(MappedColumn(heading) for heading in headings))
    missing = _missing(columns, mapping, runs)
    if missing:
        names = ", ".join(column.heading for column in missing)
        notes.append(f"the table has no column for {names}; added at its end")
        columns = (*columns, *missing)
    words = {target: _first_words(table) for target, table in mapping.words.items()}
    places = [index for index, column in enumerate(columns) if not column.target]
    rows = []
    for run in runs:
        texts = _texts(run)
        row = [
            _cell(texts, column, words, mapping.decimal if mapping.separator else "") if column.target else ""
            for column in columns
        ]
        for index, text in zip(places, kept.get(run.wire, ()), strict=False):
            row[index] = text
        rows.append(tuple(row))
    out = tuple(OutColumn(column.heading, column.numbers or column.target == "length_m") for column in columns)
    return OutSheet(mapping.sheet or "Runs", out, tuple(rows)), faults, notes


def _texts(run: Run) -> dict[str, str]:
    texts = {
        "wire": run.wire,
        "awg": "" if run.awg is None else awg_text(run.awg),
        "length_m": "" if run.length_m is None else f"{run.length_m!r}".removesuffix(".0"),
        "role": run.role.value,
        "cable": run.cable,
        "shield": run.shield,
        "colour": run.colour,
        "note": run.note,
        "state": run.state.value,
    }
    for end, contact in ((END_A, run.a), (END_B, run.b)):
        texts |= {end: contact, f"{end}.{CONNECTOR}": ref_of(contact), f"{end}.{CONTACT}": pin_of(contact)}
    return texts


def _missing(columns: Sequence[MappedColumn], mapping: TableMapping, runs: Sequence[Run]) -> tuple[MappedColumn, ...]:
    """Columns that hold something and that the table has none for."""
    there = {column.target.partition(".")[0] for column in columns}
    texts = [_texts(run) for run in runs]
    return tuple(
        MappedColumn(column.name, column.name, column.unit)
        for column in RUNS
        if "." not in column.name and column.name not in there
        if any(row[column.name] != mapping.fixed.get(column.name, _UNSAID.get(column.name, "")) for row in texts)
    )


def _first_words(table: Mapping[str, str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for word, value in table.items():
        found.setdefault(value, word)
    return found


def _cell(texts: Mapping[str, str], column: MappedColumn, words: Mapping[str, Mapping[str, str]], mark: str) -> str:
    text = texts[column.target]
    if not text:
        return ""
    if column.target in words:
        return words[column.target].get(text, text)
    if text == _UNSAID.get(column.target):
        return ""
    if column.target == "length_m":
        out = back(text, "length_m", column.unit or "m")
        return out.replace(".", mark) if mark == "," else out
    return text
