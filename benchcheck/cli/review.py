"""`benchcheck review`: what is wrong in a profile on paper, before anything is touched."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.words.errors import ExitCode

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

    Exit code 0 where there is nothing but warnings, 1 for findings, 2 where the files themselves have faults:
    then all of those are listed, and nothing is reviewed.
    """
    from benchcheck.harness.review.rule import Severity, review
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile

    harness = load_profile(find_profile(profile))
    findings = review(harness)
    if as_json:
        print_json(_document(harness, findings))
    else:
        _print(harness, findings, plain=plain)
    grave = any(finding.severity is Severity.FINDING for finding in findings)
    return ExitCode.FAIL if grave else ExitCode.PASS


def _document(harness: Harness, findings: tuple[Finding, ...]) -> dict[str, object]:
    return {
        "schema": SCHEMA,
        "profile": harness.name,
        "title": harness.title,
        "digest": harness.digest,
        "runs": len(harness.runs),
        "connectors": len(harness.connectors),
        "units": len(harness.units),
        "notes": list(harness.notes),
        "faults": [],
        "findings": [finding.to_json() for finding in findings],
    }


def _print(harness: Harness, findings: tuple[Finding, ...], *, plain: bool) -> None:
    for note in harness.notes:
        say(f"Note: {note}")
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
    click.echo(f"{harness.title}: {size}. {_count(grave, 'finding')}, {_count(light, 'warning')}.")


def _count(number: int, noun: str) -> str:
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"
