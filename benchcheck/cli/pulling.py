"""Recording a rework: contacts were pulled or reseated, and the steps that rest on them are due again."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import print_json, say
from benchcheck.words.errors import ExitCode, UsageError
from benchcheck.words.quantity import counted

if TYPE_CHECKING:
    from benchcheck.harness.model import Harness

SCHEMA = "benchcheck.job-pulled/1"
SHOWN = 12  # steps that are listed, unless all are asked for with --plain


def pulled(file: Path, what: Sequence[str], *, who: str, reason: str, as_json: bool, plain: bool) -> int:
    """Record it, and say what is due again. Raises UsageError for unknown contacts, or without reason or name."""
    from benchcheck.bench.clock import Clock
    from benchcheck.cli.job_plan import plan_to_record, ways_of
    from benchcheck.jobs.rework import record_rework
    from benchcheck.record.store import JobRecord
    from benchcheck.words.person import name_fault

    if not reason.strip():
        raise UsageError("a rework needs its reason", where="--reason", hint="Say why it was worked on.")
    if wrong := name_fault(who):
        raise UsageError(wrong, where="--by", hint='Give the name of who did it: --by "Ann Example".')
    with JobRecord.open(file, clock=Clock(), who=who) as record:
        harness, plan = plan_to_record(record, who)
        _must_be_known(harness, what)
        ways = ways_of(record.events())
        done = record_rework(record, harness, plan, what, ways=ways, reason=reason.strip(), who=who)
    if as_json:
        document = {"schema": SCHEMA, "file": str(file), "contacts": list(done.contacts), "reason": reason.strip()}
        print_json(document | {"due_again": dict(done.again), "had_verdict": list(done.had)})
        return ExitCode.PASS
    for name in done.had if plain else done.had[:SHOWN]:
        click.echo(f"{name}\t{done.again[name]}" if plain else f"  {plan.by_id[name].question}")
    if not plain and len(done.had) > SHOWN:
        click.echo(f"  and {len(done.had) - SHOWN} more")
    had, rest = len(done.had), len(done.again) - len(done.had)
    say(
        f"Recorded: {', '.join(what)} reworked by {who}. {counted(had, 'step')} with a verdict "
        f"{'is' if had == 1 else 'are'} due again" + (f"; {rest} more were still to do." if rest else ".")
    )
    if not done.again:
        say("Nothing in the plan rests on that.")
    return ExitCode.PASS


def _must_be_known(harness: Harness, what: Sequence[str]) -> None:
    from benchcheck.harness.reading.hints import did_you_mean, shown
    from benchcheck.readiness.dependents import contacts_named

    for name in what:
        if not contacts_named(harness, name):
            ends = {end for run in harness.runs for end in run.ends}
            known = [*harness.connectors, *(run.wire for run in harness.runs), *sorted(ends)]
            hint = (
                did_you_mean(name, known) or "A contact is written P101-4; a run by its wire number, a connector P101."
            )
            raise UsageError(f"the profile has no contact, run or connector {shown(name)}", hint=hint)
