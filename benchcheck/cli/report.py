"""`benchcheck report`: a job's report as HTML and JSON."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import say
from benchcheck.cli.reports import write_whole
from benchcheck.words.errors import BenchcheckError, ExitCode

if TYPE_CHECKING:
    from benchcheck.harness.model import Harness
    from benchcheck.words.step import Step


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--html", "html_file", type=click.Path(path_type=Path), help="Write HTML here [JOB.html].")
@click.option("--json", "json_file", help="Write JSON here; - is stdout.")
@click.option("--profile", help="Use this profile instead of the one that the job names.")
def command(job: Path, html_file: Path | None, json_file: str | None, profile: str | None) -> int:
    """Write the report of a job: self-contained HTML that prints well, JSON (schema benchcheck.report/1), or both.

    The exit code says whether the report was written; the verdict is in it (JSON: outcome.exit_code).

    \b
    benchcheck report bay.job
    benchcheck report bay.job --json -
    benchcheck report bay.job --html bay.html --json bay.json
    """
    from benchcheck import __version__
    from benchcheck.bench.clock import Clock
    from benchcheck.record.rows import read_events
    from benchcheck.report.build import build_report
    from benchcheck.report.facts import facts_of
    from benchcheck.report.html import report_html
    from benchcheck.report.json_report import report_text

    events = read_events(job)
    facts = facts_of(events)
    harness, steps = _plan(profile, facts.profile)
    model = build_report(harness, steps, events, generated_utc=Clock().utc(), version=__version__)
    if model.profile_changed:
        say("Note: the profile was changed after the last event of this job. The report shows the changed plan.")
    if html_file is None and json_file is None:
        html_file = job.with_suffix(".html")
    if html_file is not None:
        write_whole(html_file, report_html(model))
    if json_file == "-":
        click.echo(report_text(model), nl=False)
    elif json_file is not None:
        write_whole(Path(json_file), report_text(model))
    say(f"{model.outcome.name}: {model.outcome_text}.")
    return ExitCode.PASS


def _plan(given: str | None, recorded: str) -> tuple[Harness | None, tuple[Step, ...]]:
    """Harness and steps; none where the job's own profile is gone, which is said. A profile given by name must load."""
    from benchcheck.plan.plan import make_plan
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile

    try:
        harness = load_profile(find_profile(given or recorded))
    except BenchcheckError as error:
        if given is not None:
            raise
        say(f"Note: the job's profile can't be read ({error.text}); the report shows what was recorded, and no plan.")
        return None, ()
    return harness, make_plan(harness).steps
