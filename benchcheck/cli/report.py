"""`benchcheck report`: a job's report as HTML and JSON."""

from __future__ import annotations

from pathlib import Path

import click

from benchcheck.cli.output import say, say_altered
from benchcheck.cli.reports import write_whole
from benchcheck.words.errors import ExitCode


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--html", "html_file", type=click.Path(path_type=Path), help="Write HTML here [JOB.html].")
@click.option("--json", "json_file", help="Write JSON here; - is stdout.")
@click.option("--profile", help="Use this profile instead of the one that the job names.")
def command(job: Path, html_file: Path | None, json_file: str | None, profile: str | None) -> int:
    """Write the report of a job: self-contained HTML that prints well, JSON (schema benchcheck.report/1), or both.

    The exit code says whether the report was written; the verdict is in it (JSON: outcome.exit_code). It never says
    PASS where the record was altered since it was written, or where the profile can't be read.

    \b
    benchcheck report bay.job
    benchcheck report bay.job --json -
    benchcheck report bay.job --html bay.html --json bay.json
    """
    from benchcheck import __version__
    from benchcheck.bench.clock import Clock
    from benchcheck.cli.job_plan import pending_change, plan_if_readable, plan_of, ways_of
    from benchcheck.record.verify import read_as_it_is
    from benchcheck.report.build import build_report
    from benchcheck.report.facts import facts_of
    from benchcheck.report.html import report_html
    from benchcheck.report.json_report import report_text

    events, faults = read_as_it_is(job)
    if faults:
        say_altered(job, faults)
    recorded = facts_of(events).profile
    if profile is None:
        harness, plan = plan_if_readable(recorded, "the report", events)
    else:
        harness, plan = plan_of(profile, ways_of(events))
    model = build_report(
        harness,
        plan,
        events,
        generated_utc=Clock().utc(),
        version=__version__,
        record_faults=faults,
        due_again=pending_change(events, harness, plan, profile or recorded),
    )
    if model.profile_changed:
        say(
            "Note: the profile was changed after the last event of this job. The report shows the changed plan, and marks STALE what must be done again for it."
        )
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
