"""`benchcheck export`: the pin table back into a spreadsheet, under the headings it came with."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.words.errors import ExitCode, FaultyFiles, InputError

if TYPE_CHECKING:
    from benchcheck.harness.intake.mapping import TableMapping
    from benchcheck.harness.intake.outward import OutSheet

SCHEMA = "benchcheck.export/1"


@click.command()
@click.argument("profile")
@click.argument("table", type=click.Path(path_type=Path))
@click.option("--map", "map_file", type=click.Path(path_type=Path), help="Mapping file instead of PROFILE/import.toml.")
@click.option("--replace", is_flag=True, help="Replace a file that is there.")
@output_options
def command(profile: str, table: Path, map_file: Path | None, replace: bool, as_json: bool, plain: bool) -> int:
    """Write the pin table of PROFILE to TABLE: .xlsx, .ods or .csv.

    Headings, their order, units and words are those of the last import (import.toml), and the columns that benchcheck
    doesn't know come back from pins_extra.csv. Without an import, the headings are those of pins.csv.

    \b
    benchcheck export profiles/mine bay.xlsx
    benchcheck export starter runs.csv
    """
    from benchcheck.harness.intake.outward import PLAIN_MAPPING, outward
    from benchcheck.harness.reading.hints import printable
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile
    from benchcheck.profile.write_sheets import sheet_bytes, write_table

    folder = find_profile(profile)
    harness = load_profile(folder)
    mapping = _mapping(folder, map_file) or PLAIN_MAPPING
    sheet, faults, notes = outward(harness.runs, mapping, _extra(folder))
    if faults:
        raise FaultyFiles(f"profile {harness.name}", faults)
    write_table(table, sheet_bytes(table, [sheet], separator=mapping.separator), replace=replace)
    notes += _cautions(table, sheet)
    if as_json:
        headings = [column.heading for column in sheet.columns]
        rows = len(sheet.rows)
        print_json({"schema": SCHEMA, "written": str(table), "rows": rows, "headings": headings, "notes": notes})
    else:
        for note in notes:
            say(printable(f"note: {note}"))
        click.echo(f"{len(sheet.rows)} rows. Written: {table}.")
    return ExitCode.PASS


def _mapping(folder: Path, map_file: Path | None) -> TableMapping | None:
    from benchcheck.harness.intake.mapping import MAPPING_FILE, read_mapping
    from benchcheck.harness.reading.file_text import decode
    from benchcheck.profile.read_sheets import read_bytes

    path = map_file or folder / MAPPING_FILE
    if map_file is None and not path.exists():
        return None
    text, faults, _ = decode(path.name, read_bytes(path))
    mapping, wrong = read_mapping(path.name, text) if text is not None else (None, faults)
    if mapping is None:
        raise FaultyFiles(f"mapping {path}", wrong)
    if mapping.kind != "runs":
        raise InputError(
            f"is a mapping for {mapping.kind}, not for runs", where=str(path), hint="Name another with --map."
        )
    return mapping


def _extra(folder: Path) -> str:
    from benchcheck.harness.intake.pins_text import PINS_EXTRA_FILE
    from benchcheck.harness.reading.file_text import decode
    from benchcheck.profile.read_sheets import read_bytes

    path = folder / PINS_EXTRA_FILE
    if not path.exists():
        return ""
    text, faults, _ = decode(path.name, read_bytes(path))
    if text is None:
        raise FaultyFiles(f"{path}", faults)
    return text


def _cautions(table: Path, sheet: OutSheet) -> list[str]:
    """What a spreadsheet program would do to a text table that it opens; it leaves the texts of a workbook alone."""
    if table.suffix.lower() != ".csv":
        return []
    from benchcheck.harness.intake.damage import at_risk

    found = sum(at_risk(cell) for row in sheet.rows for cell in row)
    if not found:
        return []
    what = f"{found} cell{'' if found == 1 else 's'} would be changed or worked out by a spreadsheet program that opens this CSV"
    return [f"{what} (dates, leading noughts, formulas): write .xlsx or .ods, or open it with all columns as text"]
