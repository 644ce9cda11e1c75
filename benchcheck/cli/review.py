"""`benchcheck review`: what is wrong in a profile on paper, before anything is touched."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.words.errors import ExitCode, FaultyFiles, FileFault

if TYPE_CHECKING:
    from benchcheck.harness.model import Harness
    from benchcheck.harness.review.rule import Finding

SCHEMA = "benchcheck.review/1"


@click.command()
@click.argument("profile")
@output_options
def command(profile: str, as_json: bool, plain: bool) -> int:
    """Review a profile on paper, before anything is touched.

    PROFILE is a folder, or the name of a profile that comes with benchcheck.

    \b
    benchcheck review starter
    benchcheck review profiles/mine --json

    Exit code 0 where there is nothing but warnings, 1 for findings, 2 where something can't be read: then every
    fault of every file is listed. Faults of rows of the pin table don't keep the other rows from being reviewed.
    """
    from benchcheck.harness.review.rule import Severity, review
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_partly

    folder = find_profile(profile)
    told = load_partly(folder)
    if told.harness is None:
        raise FaultyFiles(f"profile {folder.resolve().name}", told.faults)
    findings = review(told.harness, told.faults)
    unread = tuple(fault for fault in told.faults if not fault.code)
    if as_json:
        print_json(_document(told.harness, unread, findings))
    else:
        _print(told.harness, unread, findings, plain=plain)
        if told.faults:
            say("What may only follow from faulty rows is left out: mend them and review again.")
    if unread:
        return ExitCode.USAGE
    grave = any(finding.severity is Severity.FINDING for finding in findings)
    return ExitCode.FAIL if grave else ExitCode.PASS


def _document(harness: Harness, unread: tuple[FileFault, ...], findings: tuple[Finding, ...]) -> dict[str, object]:
    return {
        "schema": SCHEMA,
        "profile": harness.name,
        "title": harness.title,
        "digest": harness.digest,
        "runs": len(harness.runs),
        "connectors": len(harness.connectors),
        "units": len(harness.units),
        "notes": list(harness.notes),
        "faults": [
            {
                "file": fault.place.file,
                "line": fault.place.line,
                "column": fault.place.column,
                "text": fault.text,
                "hint": fault.hint,
            }
            for fault in unread
        ],
        "findings": [finding.to_json() for finding in findings],
    }


def _print(harness: Harness, unread: tuple[FileFault, ...], findings: tuple[Finding, ...], *, plain: bool) -> None:
    for note in harness.notes:
        say(f"Note: {note}")
    for fault in unread:
        click.echo(f"fault {fault}")
    explained: set[str] = set()
    for finding in findings:
        click.echo(str(finding))
        if not plain and finding.code not in explained:
            explained.add(finding.code)
            click.echo(f"    Why: {finding.why}")
            click.echo(f"    Do:  {finding.do}")
    grave = sum(finding.severity.value == "finding" for finding in findings)
    light = len(findings) - grave
    size = f"{len(harness.connectors)} connectors, {len(harness.runs)} runs, {len(harness.units)} units"
    faulty = f"{_count(len(unread), 'fault')} of the files, " if unread else ""
    click.echo(f"{harness.title}: {size}. {faulty}{_count(grave, 'finding')}, {_count(light, 'warning')}.")


def _count(number: int, noun: str) -> str:
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"
