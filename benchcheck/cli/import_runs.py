"""The import of a pin table: reads, maps, judges, tells, and writes pins.csv with what belongs to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import print_json, say
from benchcheck.harness.reading.hints import did_you_mean, shown
from benchcheck.words.errors import ExitCode, FaultyFiles, InputError, UsageError

if TYPE_CHECKING:
    from benchcheck.harness.intake.find_header import Asked, Header
    from benchcheck.harness.intake.mapping import TableMapping
    from benchcheck.harness.intake.read_cells import Ways
    from benchcheck.harness.intake.sheet import Sheet
    from benchcheck.harness.intake.taken import Account
    from benchcheck.words.errors import FileFault

SCHEMA = "benchcheck.import/1"


@dataclass(frozen=True, slots=True)
class RunsAsked:
    """What the command line said."""

    table: Path
    folder: Path
    sheet: str | None
    asked: Asked
    words: Mapping[str, str]
    fixed: Mapping[str, str]
    decimal: str
    map_file: Path | None
    guess: bool
    ways: Ways
    partial: bool
    replace: bool
    dry_run: bool
    as_json: bool
    plain: bool


@dataclass(frozen=True, slots=True)
class Found:
    """A table that was read and mapped, among the sheets of its file."""

    sheets: list[Sheet]
    sheet: Sheet
    header: Header
    mapping: TableMapping
    faults: list[FileFault]
    notes: list[str]


def import_runs(said: RunsAsked) -> int:
    """Import the runs; gives the exit code. Raises FaultyFiles where a row is at fault, unless asked for a part."""
    from benchcheck.cli.import_said import account_json, tell
    from benchcheck.harness.intake.book import contact_book
    from benchcheck.harness.intake.mapping import MAPPING_FILE, mapping_text
    from benchcheck.harness.intake.pins_text import PINS_EXTRA_FILE, REFUSED_FILE, pins_text, table_text
    from benchcheck.harness.intake.take_runs import drop_refused, take_runs
    from benchcheck.harness.reading.contact_book import AnyContact
    from benchcheck.harness.reading.read_harness import HARNESS_FILE, PINS_FILE
    from benchcheck.profile.whole_files import write_files

    must_be_folder(said.folder)
    pins = said.folder / PINS_FILE
    if pins.exists() and not (said.replace or said.dry_run):
        hint = f"With --replace it is kept as {PINS_FILE}.old; with --dry-run nothing is written."
        raise UsageError(f"there is a {PINS_FILE} already", where=str(said.folder), hint=hint)
    known = remembered(said, "runs", MAPPING_FILE)
    found = find_table(said, "runs", known)
    harness = said.folder / HARNESS_FILE
    book = None
    if harness.is_file():
        from benchcheck.harness.reading.file_text import decode
        from benchcheck.profile.read_sheets import read_bytes

        book = contact_book(HARNESS_FILE, decode(HARNESS_FILE, read_bytes(harness))[0] or "")
    if book is None or isinstance(book, AnyContact):
        why = f"{HARNESS_FILE} can't be read" if harness.exists() else f"there is no {HARNESS_FILE}"
        found.notes.append(f"{why}, so whether the contacts exist could not be judged")
    account = take_runs(found.sheet, found.header, found.mapping, said.ways, book, found.faults)
    account.notes[:0] = found.notes
    faults = account.faults
    written: dict[Path, bytes] = {}
    kept = [found.mapping.columns[index].heading for index in found.mapping.kept]
    if account.table_faults or (faults and not said.partial):
        if not said.as_json:
            tell(account, found.mapping, plain=said.plain)
        raise FaultyFiles(f"{said.table}: nothing was written; the table", faults)
    drop_refused(account, book)
    if not account.rows and faults:
        raise FaultyFiles(f"{said.table}: nothing was written, no row is good; the table", faults)
    if not account.rows:
        hint = "Is it another sheet (--sheet), are the headings in another row (--header-row)?"
        raise InputError("holds no rows under its headings", where=str(said.table), hint=hint)
    text = pins_text([taken.texts for taken in account.rows])
    written[pins] = text.encode()
    extra = said.folder / PINS_EXTRA_FILE
    if kept or extra.exists():
        rows = [["wire", *kept], *([taken.texts["wire"], *taken.kept] for taken in account.rows)]
        written[extra] = table_text(rows).encode()
    mapping = with_words(found.mapping, account)
    written[said.folder / MAPPING_FILE] = mapping_text(mapping).encode()
    if account.refused:
        written[said.folder / REFUSED_FILE] = refused_text(account).encode()
    if not said.dry_run:
        write_files(written, keep_old=(pins, extra))
    if said.as_json:
        print_json(
            {
                "schema": SCHEMA,
                "dry_run": said.dry_run,
                **account_json(account, mapping),
                "written": [] if said.dry_run else [str(path) for path in written],
                "pins": text if said.dry_run else None,
            }
        )
    else:
        tell(account, mapping, plain=said.plain)
        for fault in account.faults:
            say(f"refused: {fault}")
        if said.dry_run:
            click.echo(text, nl=False)
        _end(said, account, [path.name for path in written])
    return ExitCode.FAIL if account.refused else ExitCode.PASS


def _end(said: RunsAsked, account: Account, names: list[str]) -> None:
    count = f"{len(account.rows)} row{'' if len(account.rows) == 1 else 's'}"
    refused = f", {len(account.refused)} refused" if account.refused else ""
    if said.dry_run:
        say(f"Nothing was written (--dry-run): {count}{refused} would go into {', '.join(names)}.")
        return
    click.echo(f"{count}{refused}. Written in {said.folder}: {', '.join(names)}.")
    from benchcheck.harness.reading.read_harness import HARNESS_FILE

    harness = said.folder / HARNESS_FILE
    first = "" if harness.exists() else f"write {harness} (profiles/starter shows how), then "
    say(f"Next: {first}benchcheck review {said.folder}")


def must_be_folder(folder: Path) -> None:
    if not folder.is_dir():
        hint = "Name the folder of a profile. To begin one, copy profiles/starter."
        raise InputError("there is no such folder", where=str(folder), hint=hint)


def remembered(said: RunsAsked, kind: str, file: str) -> TableMapping | None:
    """The mapping of the last import, or the one that was named."""
    from benchcheck.harness.intake.mapping import read_mapping
    from benchcheck.harness.reading.file_text import decode
    from benchcheck.profile.read_sheets import read_bytes

    path = said.map_file or said.folder / file
    if said.map_file is None and (said.guess or not path.exists()):
        return None
    text, faults, _ = decode(path.name, read_bytes(path))
    mapping, wrong = read_mapping(path.name, text) if text is not None else (None, faults)
    if mapping is None:
        raise FaultyFiles(f"mapping {path}", wrong)
    if mapping.kind != kind:
        raise InputError(
            f"is a mapping for {mapping.kind}, not for {kind}", where=str(path), hint="Name another with --map."
        )
    return mapping


def find_table(said: RunsAsked, kind: str, known: TableMapping | None) -> Found:
    """Read the file, choose the sheet, find its headings, map its columns. Faults of the headings are in the result."""
    from benchcheck.harness.intake.find_header import find_header, headings_known, wanted_headings
    from benchcheck.harness.intake.map_columns import map_columns
    from benchcheck.profile.read_sheets import choose_sheet, read_sheets
    from benchcheck.words.errors import FileFault

    def score(sheet: Sheet) -> float:
        return headings_known(kind, sheet, wanted_headings(said.asked, known))

    sheets, faults, notes = read_sheets(said.table, score)
    wanted = said.sheet
    if wanted is None and known and known.sheet in {sheet.name for sheet in sheets}:
        wanted = known.sheet
    sheet, choice = choose_sheet(sheets, wanted or None, score, str(said.table))
    notes += [choice] if choice else []
    header = find_header(kind, sheet, said.asked, known)
    if isinstance(header, FileFault):
        raise FaultyFiles(str(said.table), [*faults, header])
    if known is not None:
        known = replace(known, fixed={**known.fixed, **said.fixed})
    mapping, wrong, told = map_columns(kind, sheet, header, said.asked, known, said.fixed)
    mapping = replace(
        mapping,
        table=said.table.name,
        sheet=sheet.name,
        separator=sheet.separator,
        decimal=said.decimal or mapping.decimal,
        words=_words(mapping.words, said.words),
    )
    return Found(sheets, sheet, header, mapping, [*faults, *wrong], notes + told)


def _words(old: Mapping[str, Mapping[str, str]], new: Mapping[str, str]) -> dict[str, dict[str, str]]:
    from benchcheck.harness.intake.roles import WORDS

    words = {target: dict(table) for target, table in old.items()}
    for word, value in new.items():
        target = next((name for name, table in WORDS.items() if value in table.values()), None)
        if target is None:
            known = [value for table in WORDS.values() for value in dict.fromkeys(table.values())]
            hint = did_you_mean(value, known, what="One of", most=30)
            raise UsageError(f"--word {word}={value}: {shown(value)} is no role, state or need", hint=hint)
        words.setdefault(target, {})[word] = value
    return words


def with_words(mapping: TableMapping, account: Account) -> TableMapping:
    """The mapping with the words that were taken for another and the decimal mark, so that all goes out as it came in."""
    words = {target: dict(table) for target, table in mapping.words.items()}
    for (target, word, value), _ in account.words.most_common():
        if word != value:
            words.setdefault(target, {}).setdefault(word, value)
    return replace(mapping, words=words, decimal=mapping.decimal or account.decimal)


def refused_text(account: Account) -> str:
    """The refused rows with their cells as they were, and what is wrong with each."""
    from benchcheck.harness.intake.pins_text import table_text
    from benchcheck.harness.intake.sheet import cell_text

    rows = [["row", "what is wrong", *account.headings]]
    by_number = {row.number: row for row in account.sheet.rows}
    for number, faults in sorted(account.refused.items()):
        what = "; ".join(fault.text for fault in faults)
        cells = by_number[number].cells if number in by_number else ()
        rows.append([str(number), what, *map(cell_text, cells)])
    return table_text(rows)
