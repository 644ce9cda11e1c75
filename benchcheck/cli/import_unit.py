"""The import of a unit type from a workbook: contacts, and where there are sheets for them connectors and paths."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.import_runs import Found, RunsAsked, find_table, must_be_folder, remembered, with_words
from benchcheck.cli.output import print_json, say
from benchcheck.harness.reading.hints import shown
from benchcheck.words.errors import ExitCode, FaultyFiles, InputError, UsageError

if TYPE_CHECKING:
    from benchcheck.harness.intake.take_unit import MappedTable, UnitTaken
    from benchcheck.harness.reading.read_unit import UnitFile
    from benchcheck.words.errors import FileFault

SCHEMA = "benchcheck.import_unit/1"
_CONTACTS = "unit contacts"


def import_unit(said: RunsAsked, unit_type: str, connectors: Mapping[str, str], title: str | None) -> int:
    """Write FOLDER/units/TYPE.toml; gives the exit code. Raises FaultyFiles where anything is at fault."""
    from benchcheck.cli.import_said import account_json
    from benchcheck.harness.intake.mapping import UNIT_MAPPING_FILE, mapping_text
    from benchcheck.harness.intake.take_unit import MappedTable, take_unit
    from benchcheck.harness.reading.forms import is_type_name
    from benchcheck.profile.whole_files import write_files

    must_be_folder(said.folder)
    if not is_type_name(unit_type):
        raise UsageError(f"{shown(unit_type)} can't be a unit type", hint="It names a file: a-z, 0-9, _.")
    path = said.folder / "units" / f"{unit_type}.toml"
    if path.exists() and not (said.replace or said.dry_run):
        hint = "With --replace it is kept as NAME.old; with --dry-run nothing is written."
        raise UsageError("the unit type has a file already", where=str(path), hint=hint)
    old = _old(path)
    known = remembered(said, _CONTACTS, UNIT_MAPPING_FILE)
    found = find_table(said, _CONTACTS, known)
    mapped, faults, notes = _others(said, found)
    mapped[_CONTACTS] = MappedTable(found.sheet, found.header, found.mapping)
    if found.faults or faults:
        raise FaultyFiles(f"{said.table}: nothing was written; the table", [*found.faults, *faults])
    taken = take_unit(path.name, unit_type, mapped, said.ways, title=title, connectors=connectors, old=old)
    account = taken.accounts[_CONTACTS]
    account.notes[:0] = [*found.notes, *notes, *taken.notes]
    if taken.all_faults or not account.rows:
        if not said.as_json:
            _tell(taken, mapped, plain=said.plain)
        if not taken.all_faults:
            raise InputError("holds no contacts under its headings", where=str(said.table), hint="Is it another sheet?")
        raise FaultyFiles(f"{said.table}: nothing was written; the table", taken.all_faults)
    mapping = with_words(found.mapping, account)
    written = {path: taken.text.text.encode(), said.folder / UNIT_MAPPING_FILE: mapping_text(mapping).encode()}
    if not said.dry_run:
        path.parent.mkdir(exist_ok=True)
        write_files(written, keep_old=(path,))
    if said.as_json:
        print_json(
            {
                "schema": SCHEMA,
                "dry_run": said.dry_run,
                "unit": unit_type,
                "tables": {
                    kind: account_json(taken.accounts[kind], mapped[kind].mapping) for kind in sorted(taken.accounts)
                },
                "written": [] if said.dry_run else [str(entry) for entry in written],
                "file": taken.text.text if said.dry_run else None,
            }
        )
        return ExitCode.PASS
    _tell(taken, mapped, plain=said.plain)
    if said.dry_run:
        click.echo(taken.text.text, nl=False)
        say(f"Nothing was written (--dry-run): this would be {path}.")
    else:
        click.echo(f"{len(account.rows)} contacts. Written: {path}, {said.folder / UNIT_MAPPING_FILE}.")
    return ExitCode.PASS


def _tell(taken: UnitTaken, mapped: Mapping[str, MappedTable], *, plain: bool) -> None:
    from benchcheck.cli.import_said import tell

    for kind in sorted(taken.accounts, key=lambda kind: kind != _CONTACTS):
        say(f"{kind}:")
        tell(taken.accounts[kind], mapped[kind].mapping, plain=plain)


def _others(said: RunsAsked, found: Found) -> tuple[dict[str, MappedTable], list[FileFault], list[str]]:
    """The sheets beside that of the contacts which list its connectors or paths; told by their headings."""
    from benchcheck.harness.intake.columns import WANTED
    from benchcheck.harness.intake.find_header import Asked, find_header, headings_known
    from benchcheck.harness.intake.map_columns import map_columns
    from benchcheck.harness.intake.take_unit import MappedTable
    from benchcheck.words.errors import FileFault

    tables: dict[str, MappedTable] = {}
    faults: list[FileFault] = []
    notes: list[str] = []
    left = [sheet for sheet in found.sheets if sheet is not found.sheet and sheet.rows and not sheet.hidden]
    for kind in ("unit connectors", "unit paths"):
        best = max(left, key=lambda sheet: headings_known(kind, sheet), default=None)
        if best is None or headings_known(kind, best) < len(WANTED[kind]):
            continue
        header = find_header(kind, best, Asked({}), None)
        if isinstance(header, FileFault):
            continue
        mapping, wrong, told = map_columns(kind, best, header, Asked({}), None, {})
        if not all(mapping.targets.intersection(group) for group in WANTED[kind]):
            continue
        left.remove(best)
        faults += wrong
        notes += [f"sheet {shown(best.name)}: {note}" for note in told]
        mapping = replace(mapping, table=said.table.name, sheet=best.name, decimal=said.decimal)
        tables[kind] = MappedTable(best, header, mapping)
    return tables, faults, notes


def _old(path: Path) -> UnitFile | None:
    """The unit type as it is until now; None where there is none, or where it can't be read."""
    from benchcheck.harness.reading.file_text import decode
    from benchcheck.harness.reading.read_unit import read_unit
    from benchcheck.profile.read_sheets import read_bytes

    if not path.exists():
        return None
    text = decode(path.name, read_bytes(path))[0]
    return read_unit(path.name, path.stem, text)[0] if text else None
