"""A table of steps made short: what many rows share is said once above it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.report.model import Former, StepRow, Word

_SHARED_BY = 6  # a source of limits that this many rows share is printed once, under a letter


@dataclass(frozen=True, slots=True)
class Line:
    """One row as it is printed; `small` are the lines under it, as pairs of a bold word (or none) and text."""

    row: StepRow
    contacts: str
    letter: str
    small: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class StepTable:
    """Rows with what they share: sources by letter, who read, with which instrument."""

    lines: tuple[Line, ...]
    sources: tuple[tuple[str, str], ...]
    who: str
    instrument: str


def step_table(rows: Sequence[StepRow]) -> StepTable:
    """Lay out rows of one bench state."""
    counts = Counter(row.limit_source for row in rows if row.limit_source)
    shared = [source for source, count in counts.items() if count >= _SHARED_BY]
    letters = {source: _letter(index) for index, source in enumerate(shared)}
    who = _common({row.who for row in rows if row.seq})
    instrument = _common({row.instrument for row in rows if row.instrument})
    return StepTable(
        lines=tuple(_line(row, letters, who, instrument) for row in rows),
        sources=tuple((letter, source) for source, letter in letters.items()),
        who=who,
        instrument=instrument,
    )


def _line(row: StepRow, letters: dict[str, str], who: str, instrument: str) -> Line:
    # The question usually names both contacts already.
    named = all(contact in row.question for contact in row.contacts.split(" to "))
    small = []
    if row.text and (row.word is not Word.PASS or not row.reading) and row.text != row.reading:
        small.append(("", row.text))
    if row.waived:
        small.append(("Waived:", row.waived))
    if row.note and row.note not in row.text:
        small.append(("", row.note))
    if row.limit_source and row.limit_source not in letters:
        small.append(("Limit:", row.limit_source))
    read = [row.who if row.who != who else "", row.instrument if row.instrument != instrument else ""]
    if row.times > 1:
        read.append(f"reading {row.times} of this step")
    if any(read):
        small.append(("Read:", ", ".join(part for part in read if part)))
    if row.former:
        small.append(("Also:", "; ".join(_former(other) for other in row.former)))
    return Line(row, "" if named else row.contacts, letters.get(row.limit_source, ""), tuple(small))


def _former(other: Former) -> str:
    what = f"{other.reading or other.text or 'no reading'} {other.word.value}"
    return f"{what}, {other.at_utc[:19].replace('T', ' ')} UTC, event {other.seq}"


def _common(values: set[str]) -> str:
    return next(iter(values)) if len(values) == 1 else ""


def _letter(index: int) -> str:
    """a, b, … z, aa, ab, …"""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("a") + rest) + letters
    return letters
