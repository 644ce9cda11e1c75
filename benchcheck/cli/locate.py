"""`benchcheck locate`: the probable fault behind the open squawks of a job, and the next probe."""

from __future__ import annotations

from pathlib import Path

import click

from benchcheck.cli.output import output_options, print_json, say, say_altered
from benchcheck.words.errors import ExitCode, InputError


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--profile", help="Use this profile instead of the one that the job names.")
@output_options
def command(job: Path, profile: str | None, as_json: bool, plain: bool) -> int:
    """Say what probably stands behind what failed in a job, what speaks for it and against, and which probe would tell.

    Every reading in ohms is weighed against each fault that is known, by solving the resistor network with that fault in it,
    and every verdict on volts, currents, levels and listening by what the fault cuts off or silences; faults that no
    probe tells apart are one line. Probes that the last diagnosis took are weighed as
    well. Nothing is measured and nothing is written. Exit code: 1 where something is open, 0 where nothing is.

    \b
    benchcheck locate bay.job
    benchcheck locate bay.job --json
    """
    from benchcheck.checks.kind import Context
    from benchcheck.cli.job_plan import meter_for, plan_of, ways_of
    from benchcheck.cli.locate_text import document, lines
    from benchcheck.diagnosis.readings import Readings
    from benchcheck.diagnosis.recorded import recorded_probes
    from benchcheck.diagnosis.short_list import short_lists
    from benchcheck.profile.find import find_profile
    from benchcheck.readiness.board import fold
    from benchcheck.record.verify import read_as_it_is
    from benchcheck.report.facts import facts_of

    events, faults = read_as_it_is(job)
    if faults:
        say_altered(job, faults)
    named = profile or facts_of(events).profile
    if not named:
        raise InputError("this job names no profile", where=str(job), hint="Give it with --profile.")
    ways = ways_of(events)
    harness, plan = plan_of(named, ways)
    if events and harness.digest not in ("", events[-1].profile):
        say(
            "Note: the profile was changed after the last event of this job; readings are weighed against it as it is now."
        )
    board = fold(plan, events)
    context = Context(harness, meter_for(find_profile(named)), ways)
    readings = Readings(
        context,
        [
            result
            for step in plan.steps
            if step.id not in board.waived and (result := board.results.get(step.id)) is not None
        ],
    )
    for probe in recorded_probes(context, events):
        readings.take(probe)  # those in volts weigh on the verdicts under load
    found = short_lists(readings)
    explained = {name for entry in found for name in entry.steps}
    others = [squawk for squawk in board.squawks if not squawk.steps or not explained.issuperset(squawk.steps)]
    if as_json:
        print_json(document(str(job), harness.name, found, others))
    else:
        for line in lines(found, others, plain=plain):
            click.echo(line)
    return ExitCode.FAIL if found or others else ExitCode.PASS
