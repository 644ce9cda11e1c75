"""What an import says of a table: which column is what, what was put right, what was passed over."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from benchcheck.cli.output import say
from benchcheck.harness.reading.hints import printable, shown

if TYPE_CHECKING:
    from benchcheck.harness.intake.mapping import TableMapping
    from benchcheck.harness.intake.taken import Account

MOST_LISTED = 20


def tell(account: Account, mapping: TableMapping, *, plain: bool) -> None:
    """On stderr: results alone go to stdout."""
    for line in _lines(account, mapping, all_of_it=plain):
        say(printable(line))


def _lines(account: Account, mapping: TableMapping, *, all_of_it: bool) -> Iterator[str]:
    from benchcheck.harness.intake.sheet import letter
    from benchcheck.harness.intake.spelled import spelled

    taken = [
        f"{letter(index)} {shown(column.heading)} -> {column.target}{f' ({column.unit})' if column.unit else ''}"
        for index, column in enumerate(mapping.columns)
        if column.target
    ]
    yield f"columns: {', '.join(taken)}"
    kept = [shown(mapping.columns[index].heading) for index in mapping.kept]
    if kept:
        yield f"kept as they are: {', '.join(kept)}"
    words = [
        f"{shown(word)} -> {value} ({count})"
        for (_, word, value), count in sorted(account.words.items())
        if word != value
    ]
    if words:
        yield f"words: {', '.join(words)}"
    if account.spelled:
        yield f"contacts spelled otherwise: {spelled(account.spelled)}"
    for note in account.notes:
        yield f"note: {note}"
    for what, lines in (
        ("mended", [str(mended) for mended in account.mended]),
        ("passed over", [f"row {row.row}, {row.why}: {shown(row.text)}" for row in account.passed_over]),
    ):
        most = len(lines) if all_of_it else MOST_LISTED
        yield from (f"{what}: {line}" for line in lines[:most])
        if len(lines) > most:
            yield f"{what}: {len(lines) - most} more; --plain or --json lists all of them"


def account_json(account: Account, mapping: TableMapping) -> dict[str, object]:
    return {
        "table": mapping.table,
        "sheet": mapping.sheet,
        "columns": [
            {"heading": column.heading, "goes_to": column.target or None, "unit": column.unit or None}
            for column in mapping.columns
        ],
        "words": [
            {"column": target, "word": word, "taken_as": value, "rows": count}
            for (target, word, value), count in sorted(account.words.items())
        ],
        "spelled": dict(account.spelled),
        "rows": len(account.rows),
        "notes": account.notes,
        "mended": [
            {
                "file": entry.place.file,
                "row": entry.place.line,
                "column": entry.place.column,
                "was": entry.was,
                "taken_as": entry.taken,
                "why": entry.why,
            }
            for entry in account.mended
        ],
        "passed_over": [{"row": row.row, "text": row.text, "why": row.why} for row in account.passed_over],
        "refused": [
            {
                "file": fault.place.file,
                "row": fault.place.line,
                "column": fault.place.column,
                "text": fault.text,
                "hint": fault.hint,
            }
            for fault in account.faults
        ],
    }
