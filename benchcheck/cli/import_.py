"""`benchcheck import`: a pin table, or a unit's contacts, from a spreadsheet under any headings."""

from __future__ import annotations

from pathlib import Path

import click

from benchcheck.cli.output import output_options
from benchcheck.words.errors import UsageError


@click.command(name="import")
@click.argument("table", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--sheet", help="Sheet of the workbook; the one whose headings are known best otherwise.")
@click.option("--header-row", type=click.IntRange(1), help="Row in which the headings stand.")
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="NAME=HEADING",
    help="Which column is what: from='Near end', or its letter: from=C; 'note=' for none. May be given again.",
)
@click.option("--word", "words", multiple=True, metavar="WORD=OURS", help="What a word means: PWR=power.")
@click.option("--fixed", multiple=True, metavar="NAME=TEXT", help="What stands in every row: role=signal.")
@click.option("--length-unit", type=click.Choice(["m", "cm", "mm", "ft", "in"]), help="Where no heading says it.")
@click.option("--decimal", type=click.Choice(["point", "comma"]), help="Decimal mark, where the cells leave it open.")
@click.option("--map", "map_file", type=click.Path(path_type=Path), help="Mapping file instead of FOLDER/import.toml.")
@click.option("--guess", is_flag=True, help="Guess the columns anew, whatever is remembered.")
@click.option("--unit", "unit_type", metavar="TYPE", help="The table is a unit's contacts: write units/TYPE.toml.")
@click.option("--connector", "connectors", multiple=True, metavar="J1=dsub25/pin", help="A unit's connector, --unit.")
@click.option("--title", help="What the unit is called, with --unit.")
@click.option("--fill-down", is_flag=True, help="An empty connector is the one above, or the merged cell's.")
@click.option("--mend", is_flag=True, help="Take what a damaged cell probably was, where that is certain enough.")
@click.option("--partial", is_flag=True, help="Write the good rows, and pins_refused.csv with the others.")
@click.option("--replace", is_flag=True, help="Replace the table that is there; it is kept as NAME.old.")
@click.option("--dry-run", is_flag=True, help="Show what would be written; write nothing.")
@output_options
def command(
    table: Path,
    folder: Path,
    sheet: str | None,
    header_row: int | None,
    columns: tuple[str, ...],
    words: tuple[str, ...],
    fixed: tuple[str, ...],
    length_unit: str | None,
    decimal: str | None,
    map_file: Path | None,
    guess: bool,
    unit_type: str | None,
    connectors: tuple[str, ...],
    title: str | None,
    fill_down: bool,
    mend: bool,
    partial: bool,
    replace: bool,
    dry_run: bool,
    as_json: bool,
    plain: bool,
) -> int:
    """Take a table over into the profile in FOLDER, whatever its headings are called.

    TABLE is CSV (any separator and encoding), XLSX or ODS. Columns are told by their headings; what was guessed is said,
    and remembered in FOLDER/import.toml, so that the next import of the same workbook asks nothing. Columns that
    benchcheck doesn't know are kept in pins_extra.csv, and `benchcheck export` puts them back.

    Every fault is listed with its row and column, also what a spreadsheet has damaged: a contact that became a date, lost
    noughts. Where there is one, nothing is written.

    \b
    benchcheck import bay.xlsx profiles/mine --dry-run
    benchcheck import bay.xlsx profiles/mine --column from="Near end" --length-unit ft --replace
    benchcheck import nav.ods profiles/mine --unit nav_processor --connector J1=dsub25/pin

    Exit code 0 where every row was taken, 1 with --partial where some were refused, 2 where nothing was written.
    """
    from benchcheck.cli.import_runs import RunsAsked, import_runs
    from benchcheck.harness.intake.find_header import Asked
    from benchcheck.harness.intake.read_cells import Ways

    asked = Asked(_pairs("--column", columns), header_row, length_unit or "")
    common = RunsAsked(
        table=table,
        folder=folder,
        sheet=sheet,
        asked=asked,
        words=_pairs("--word", words),
        fixed=_pairs("--fixed", fixed),
        decimal={"point": ".", "comma": ","}.get(decimal or "", ""),
        map_file=map_file,
        guess=guess,
        ways=Ways(mend=mend, fill_down=fill_down),
        partial=partial,
        replace=replace,
        dry_run=dry_run,
        as_json=as_json,
        plain=plain,
    )
    if unit_type is None:
        if connectors or title:
            raise UsageError("--connector and --title belong to a unit's table", hint="Say which unit: --unit TYPE.")
        return import_runs(common)
    if partial:
        raise UsageError(
            "--partial is for runs; half a unit is none", hint="Correct the table, or leave rows out of it."
        )
    from benchcheck.cli.import_unit import import_unit

    return import_unit(common, unit_type, _pairs("--connector", connectors), title)


def _pairs(option: str, texts: tuple[str, ...]) -> dict[str, str]:
    found = {}
    for text in texts:
        name, sign, value = text.rpartition("=") if option == "--word" else text.partition("=")
        if not sign or not name.strip():
            raise UsageError(f"{option} {text}: wants NAME=VALUE", hint=f"As in {option} {_EXAMPLE[option]}.")
        found[name.strip()] = value.strip()
    return found


_EXAMPLE = {
    "--column": 'from="Near end"',
    "--word": "PWR=power",
    "--fixed": "role=signal",
    "--connector": "J1=dsub25/pin",
}
