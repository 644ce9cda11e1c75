"""`benchcheck template`: a workbook to fill in."""

from __future__ import annotations

from pathlib import Path

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.words.errors import ExitCode, UsageError

SCHEMA = "benchcheck.template/1"


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--replace", is_flag=True, help="Replace a file that is there.")
@output_options
def command(file: Path, replace: bool, as_json: bool, plain: bool) -> int:
    """Write a workbook to fill in: a sheet for runs, sheets for a unit, and a page that says what goes where.

    Roles and states are drop-down lists; all cells are texts, so that a spreadsheet program doesn't turn contacts into dates.

    \b
    benchcheck template bay.xlsx
    benchcheck import bay.xlsx profiles/mine
    """
    from benchcheck.harness.intake.template import template_sheets
    from benchcheck.profile.write_sheets import sheet_bytes, write_table

    if file.suffix.lower() != ".xlsx":
        raise UsageError("a template is an XLSX workbook", where=str(file), hint=f"Name it {file.stem or 'bay'}.xlsx.")
    sheets = template_sheets()
    write_table(file, sheet_bytes(file, sheets), replace=replace)
    if as_json:
        print_json({"schema": SCHEMA, "written": str(file), "sheets": [sheet.name for sheet in sheets]})
    else:
        click.echo(f"Written: {file}.")
        say(f"Next: fill it in, then benchcheck import {file} PROFILE")
    return ExitCode.PASS
