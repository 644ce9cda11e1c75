"""What was made of a table: rows, what was put right, what was passed over, what is wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from benchcheck.harness.intake.sheet import Row, Sheet, letter
from benchcheck.harness.reading.hints import shown
from benchcheck.words.errors import FileFault, Place


@dataclass(frozen=True, slots=True)
class TakenRow:
    """One row of the table in the words of the profile.

    texts    target -> text
    columns  target -> the column of the sheet it came from
    kept     the texts of the columns that are kept as they are, in their order
    ends     `from`, `to` -> the columns (from 1) of their halves, where they stand in two
    """

    row: Row
    texts: Mapping[str, str]
    columns: Mapping[str, int]
    kept: tuple[str, ...] = ()
    ends: Mapping[str, frozenset[int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Mended:
    """A cell that was put right."""

    place: Place
    column: str
    was: str
    taken: str
    why: str

    def __str__(self) -> str:
        return f"{self.place}: {self.column}: {shown(self.was)} taken as {shown(self.taken)}: {self.why}"


@dataclass(frozen=True, slots=True)
class PassedOver:
    """A row that is no part of the table."""

    row: int
    text: str
    why: str


@dataclass(slots=True)
class Account:
    """Everything that has to be said about one table. Every row is in `rows`, in `refused` or in `passed_over`."""

    sheet: Sheet
    headings: tuple[str, ...]
    rows: list[TakenRow] = field(default_factory=list)
    refused: dict[int, list[FileFault]] = field(default_factory=dict)  # row number -> what is wrong with it
    table_faults: list[FileFault] = field(default_factory=list)  # what is wrong with the whole
    mended: list[Mended] = field(default_factory=list)
    passed_over: list[PassedOver] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    words: Counter[tuple[str, str, str]] = field(default_factory=Counter)  # (target, word, meaning) -> rows
    spelled: Counter[str] = field(default_factory=Counter)
    decimal: str = ""  # the mark that the numbers of a text table show to be theirs; empty for a point

    @property
    def faults(self) -> list[FileFault]:
        rows = [
            fault
            for number in sorted(self.refused)
            for fault in sorted(self.refused[number], key=lambda fault: fault.place.column or 0)
        ]
        return [*self.table_faults, *rows]

    def column(self, index: int) -> str:
        heading = self.headings[index] if index < len(self.headings) else ""
        return f"column {letter(index)} {shown(heading)}" if heading else f"column {letter(index)}"

    def place(self, row: int, index: int) -> Place:
        return Place(self.sheet.file, row, index + 1)

    def refuse(self, row: int, index: int | None, text: str, hint: str) -> None:
        if index is None:
            fault = FileFault(Place(self.sheet.file, row), text, hint)
        else:
            fault = FileFault(self.place(row, index), f"{self.column(index)}: {text}", hint)
        listed = self.refused.setdefault(row, [])
        if fault not in listed:
            listed.append(fault)

    def mend(self, row: int, index: int, was: str, taken: str, why: str) -> None:
        self.mended.append(Mended(self.place(row, index), self.column(index), was, taken, why))
