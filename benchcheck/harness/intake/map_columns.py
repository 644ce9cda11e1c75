"""What each column of a table is for: said, remembered, or guessed from its heading and its cells."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from benchcheck.harness.intake.columns import WANTED, Kind, columns_of
from benchcheck.harness.intake.find_header import Asked, Header
from benchcheck.harness.intake.headings import Guess, cells_agree, guesses, tokens
from benchcheck.harness.intake.mapping import MappedColumn, TableMapping
from benchcheck.harness.intake.quantities import UNITS
from benchcheck.harness.intake.roles import WORDS, meaning
from benchcheck.harness.intake.sheet import Row, Sheet, cell_text, column_of, is_empty, letter
from benchcheck.harness.reading.hints import did_you_mean, shown
from benchcheck.words.errors import FileFault, Place

_SAMPLE = 400  # rows by which it is told what a column holds


def map_columns(
    kind: str, sheet: Sheet, header: Header, asked: Asked, known: TableMapping | None, fixed: Mapping[str, str]
) -> tuple[TableMapping, list[FileFault], list[str]]:
    """What each column is for; what is wrong with the headings; and what was guessed, in words."""
    faults: list[FileFault] = []
    notes: list[str] = []
    headings = header.headings
    # in a text table cells beyond the headings are a fault of their row (a comma too many); in a workbook a column
    while (
        headings
        and not headings[-1]
        and (sheet.separator or all(is_empty(row.cell(len(headings) - 1)) for row in _below(sheet, header)))
    ):
        headings = headings[:-1]
    header = replace(header, headings=headings)
    gone: set[str] = set()
    if known is None:
        mapping = _guessed(kind, sheet, header, asked, faults)
    else:
        mapping = _remembered(sheet, header, asked, known, gone, faults, notes)
    mapping = _as_asked(sheet, header, mapping, asked, faults)
    mapping = _with_numbers(sheet, header, mapping)
    mapping = _with_fixed(sheet, header, mapping, fixed, faults)
    said = {target for target, heading in asked.columns.items() if heading} | gone
    for group in WANTED[kind]:
        if said.intersection(group):
            continue  # what is wrong with it is said already
        if not mapping.targets.intersection(group) and not set(mapping.fixed).intersection(group):
            what = f"no column is known to be `{group[0]}`"
            free = ", ".join(shown(c.heading) for c in mapping.columns if not c.target and c.heading)
            hint = f"Say which: --column {group[0]}=HEADING. " + (f"Not used yet: {free}." if free else "")
            faults.append(FileFault(Place(sheet.file, header.row), what, hint.strip()))
    return mapping, faults, notes


def _below(sheet: Sheet, header: Header) -> list[Row]:
    return [row for row in sheet.rows if row.number > header.row]


def _guessed(kind: str, sheet: Sheet, header: Header, asked: Asked, faults: list[FileFault]) -> TableMapping:
    rows = _below(sheet, header)[:_SAMPLE]
    claims: dict[str, list[tuple[int, int, str]]] = {}  # target -> (rank, column, unit)
    spoken = {target for target, heading in asked.columns.items()}
    for column, heading in enumerate(header.headings):
        for guess in guesses(kind, heading):
            if guess.target not in spoken and _holds(guess, [cell_text(row.cell(column)) for row in rows]):
                claims.setdefault(guess.target, []).append((guess.rank, column, guess.unit))
                break
    _settle_ends(claims, spoken)
    _claim_at_need(kind, header, rows, claims, spoken)
    taken: dict[int, tuple[str, str]] = {}
    for target, claim in claims.items():
        claim.sort()
        if len(claim) > 1 and claim[0][0] == claim[1][0]:
            first, second = (f"{letter(column)} {shown(header.headings[column])}" for _, column, _ in claim[:2])
            what = f"columns {first} and {second} may both be `{target}`"
            faults.append(
                FileFault(
                    Place(sheet.file, header.row, claim[1][1] + 1),
                    what,
                    f"Say which: --column {target}=HEADING (or its letter).",
                )
            )
        taken[claim[0][1]] = (target, claim[0][2])
    columns = tuple(
        MappedColumn(heading, *taken.get(column, ("", ""))) for column, heading in enumerate(header.headings)
    )
    return TableMapping(kind, columns)


def _holds(guess: Guess, texts: Sequence[str]) -> bool:
    return not guess.if_cells_agree or not texts or cells_agree(guess.target, texts, {})


def _claim_at_need(
    kind: str,
    header: Header,
    rows: Sequence[Row],
    claims: dict[str, list[tuple[int, int, str]]],
    spoken: set[str],
) -> None:
    """What the table can't do without may have a heading that most cells don't bear out: one known word will do then."""
    claimed = {column for claim in claims.values() for _, column, _ in claim}
    for group in WANTED[kind]:
        if spoken.intersection(group) or any(target in claims for target in group):
            continue
        for column, heading in enumerate(header.headings):
            texts = [cell_text(row.cell(column)) for row in rows]
            for guess in guesses(kind, heading):
                if (
                    guess.target in WORDS
                    and guess.target in group
                    and column not in claimed
                    and any(meaning(guess.target, text, {}) for text in texts)
                ):
                    claims.setdefault(guess.target, []).append((guess.rank, column, guess.unit))


def _settle_ends(claims: dict[str, list[tuple[int, int, str]]], spoken: set[str]) -> None:
    """`From` beside `From pin` is the connector; `From connector` with no contact beside it is the whole contact."""
    for end in ("from", "to"):
        whole, connector, contact = claims.get(end), claims.get(f"{end}.connector"), claims.get(f"{end}.contact")
        beside = contact is not None or f"{end}.contact" in spoken
        if whole and beside and not connector and f"{end}.connector" not in spoken:
            claims[f"{end}.connector"] = claims.pop(end)
        elif whole and (connector or contact):
            claims.pop(f"{end}.connector", None)
            claims.pop(f"{end}.contact", None)
        elif connector and not beside and not whole and end not in spoken:
            claims[end] = claims.pop(f"{end}.connector")


def _remembered(
    sheet: Sheet,
    header: Header,
    asked: Asked,
    known: TableMapping,
    gone: set[str],
    faults: list[FileFault],
    notes: list[str],
) -> TableMapping:
    """The remembered columns, found again in today's order; what is gone and what is new is said."""
    places: dict[str, list[MappedColumn]] = {}
    for column in known.columns:
        places.setdefault(column.heading, []).append(column)
    columns = []
    for heading in header.headings:
        queue = places.get(heading)
        columns.append(queue.pop(0) if queue else MappedColumn(heading))
    lost = [column for queue in places.values() for column in queue]
    old = Counter(column.heading for column in known.columns)
    new = [heading for heading, count in Counter(header.headings).items() if heading and count > old[heading]]
    for column in lost:
        if not column.target:
            notes.append(f"column {shown(column.heading)} is gone from the table; what it held goes with it")
            continue
        if column.target in asked.columns:
            continue
        gone.add(column.target)
        what = f"heading {shown(column.heading)} ({column.target}) is gone"
        near = did_you_mean(column.heading, new)
        hint = f"New: {', '.join(shown(heading) for heading in new)}. {near}".strip() if new else "No heading is new."
        hint += f" Say which it is now: --column {column.target}=HEADING; or --guess to guess all of them anew."
        faults.append(FileFault(Place(sheet.file, header.row), what, hint))
    notes += [f"column {shown(heading)} is new; it is kept as it is" for heading in new]
    return replace(known, columns=tuple(columns))


def _as_asked(
    sheet: Sheet, header: Header, mapping: TableMapping, asked: Asked, faults: list[FileFault]
) -> TableMapping:
    columns = list(mapping.columns)
    known = columns_of(mapping.kind)
    for target, heading in asked.columns.items():
        place = Place(sheet.file, header.row)
        if target not in known:
            hint = did_you_mean(target, known, what="Columns", most=20)
            faults.append(FileFault(place, f"--column: unknown column {shown(target)}", hint))
            continue
        for index, column in enumerate(columns):
            if column.target == target:
                columns[index] = replace(column, target="", unit="")
        if not heading:
            continue
        found = _column_named(heading, header.headings)
        if found is None:
            hint = did_you_mean(heading, [text for text in header.headings if text], what="Headings", most=30)
            faults.append(FileFault(place, f"--column {target}: no heading {shown(heading)}", hint))
            continue
        unit = ""
        if known[target].kind is Kind.QUANTITY:
            unit = next((guess.unit for guess in guesses(mapping.kind, heading) if guess.target == target), "")
        columns[found] = MappedColumn(header.headings[found], target, unit)
    if asked.length_unit:
        columns = [
            replace(column, unit=asked.length_unit)
            if column.target == "length_m" and asked.length_unit in UNITS["length_m"]
            else column
            for column in columns
        ]
    return replace(mapping, columns=tuple(columns))


def _with_fixed(
    sheet: Sheet, header: Header, mapping: TableMapping, fixed: Mapping[str, str], faults: list[FileFault]
) -> TableMapping:
    known = columns_of(mapping.kind)
    for target in fixed:
        if target not in known:
            hint = did_you_mean(target, known, what="Columns", most=20)
            faults.append(FileFault(Place(sheet.file, header.row), f"--fixed: unknown column {shown(target)}", hint))
    return replace(mapping, fixed={**mapping.fixed, **fixed})


def _column_named(heading: str, headings: Sequence[str]) -> int | None:
    for same in (lambda text: text == heading, lambda text: bool(text) and tokens(text) == tokens(heading)):
        for index, text in enumerate(headings):
            if same(text):
                return index
    by_letter = column_of(heading)
    return by_letter if by_letter is not None and by_letter < len(headings) else None


def _with_numbers(sheet: Sheet, header: Header, mapping: TableMapping) -> TableMapping:
    """Marks the kept columns whose cells a workbook holds as numbers, so that they go back as numbers."""
    rows = _below(sheet, header)

    def numbers(index: int) -> bool:
        cells: list[Any] = [row.cell(index) for row in rows if not is_empty(row.cell(index))]
        return bool(cells) and all(isinstance(cell, float) for cell in cells)

    columns = tuple(
        replace(column, numbers=numbers(index)) if not column.target and not sheet.separator else column
        for index, column in enumerate(mapping.columns)
    )
    return replace(mapping, columns=columns)
