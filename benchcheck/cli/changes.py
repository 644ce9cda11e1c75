"""`benchcheck changes`: what changed between two versions of a profile, and which steps must be done again for it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.words.errors import ExitCode, RecordError, UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchcheck.harness.difference.compare import Difference
    from benchcheck.harness.model import Harness
    from benchcheck.readiness.due_again import DueAgain
    from benchcheck.words.event import Event
    from benchcheck.words.ways import Ways

SCHEMA = "benchcheck.changes/1"


@click.command()
@click.argument("old")
@click.argument("new", required=False)
@output_options
def command(old: str, new: str | None, as_json: bool, plain: bool) -> int:
    """Compare two versions of a profile: what changed in the harness, and which steps are due again, new or gone.

    OLD is a profile folder, or a job: the profile as it was when the job was last worked on, from its record. NEW is a
    profile folder; for a job it may be left away and is then the profile that the job names. Notes, colours, zones and
    titles are told apart: they make nothing due again.

    \b
    benchcheck changes profiles/mine-monday profiles/mine
    benchcheck changes bay.job
    benchcheck changes bay.job profiles/mine --json
    """
    from benchcheck.cli.job_plan import meter_for
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile
    from benchcheck.readiness.due_again import due_again
    from benchcheck.words.ways import Ways

    ways, events = Ways(), None
    if Path(old).is_file() and Path(old).name != "harness.toml":
        before, ways, named, events = _of_job(Path(old))
        new = new or named
    else:
        before = load_profile(find_profile(old))
    if new is None:
        raise UsageError("two versions are compared", hint="Give the folder of the new one, too.")
    folder = find_profile(new)
    after = load_profile(folder)
    due = due_again(before, after, meter=meter_for(folder), ways=ways)
    assert due.found is not None
    had = _done(due, events) if events is not None else None
    if as_json:
        print_json(_document(old, new, before, after, due, due.found, had))
        return ExitCode.PASS
    for line in _lines(due, due.found, had, plain=plain):
        click.echo(line)
    if not due.found:
        say("Nothing changed.")
    return ExitCode.PASS


def _done(due: DueAgain, events: Sequence[Event]) -> list[str]:
    """The steps due again that had a verdict or a waiver in a job."""
    from benchcheck.plan.plan import Plan
    from benchcheck.readiness.board import fold

    board = fold(due.before or Plan(()), events)
    return [name for name in due.again if name in board.results or name in board.waived]


def _of_job(path: Path) -> tuple[Harness, Ways, str, Sequence[Event]]:
    """The profile that a job was last worked on with, the job's ways, the profile that it names, and its events."""
    from benchcheck.cli.job_plan import ways_of
    from benchcheck.cli.output import say_altered
    from benchcheck.profile.kept import harness_of
    from benchcheck.record.kept_profile import kept_files
    from benchcheck.record.verify import read_as_it_is
    from benchcheck.report.facts import facts_of

    events, faults = read_as_it_is(path)
    if faults:
        say_altered(path, faults)
    digest = events[-1].profile if events else ""
    kept = kept_files(events, digest)
    if kept is None:
        raise RecordError(
            "this job does not hold its profile as it was",
            where=str(path),
            hint="Jobs of earlier versions hold none until they are opened for work. Compare two folders instead.",
        )
    return harness_of(*kept, digest), ways_of(events), facts_of(events).profile, events


def _lines(due: DueAgain, found: Difference, had: Sequence[str] | None, *, plain: bool) -> Iterator[str]:
    """`had`: the steps due again that were done in the job that is compared; None where it is no job."""
    from benchcheck.harness.difference.words import cosmetic_lines, matter_lines

    matters, cosmetic = matter_lines(found), cosmetic_lines(found)
    if plain:
        yield from (f"changed\t{line}" for line in matters)
        yield from (f"label\t{line}" for line in cosmetic)
        yield from (f"again\t{name}\t{why}" for name, why in due.again.items())
        yield from (f"new\t{name}\t" for name in due.new)
        yield from (f"gone\t{name}\t" for name in due.gone)
        return
    yield from _listed("What changed in the wiring", matters)
    yield from _listed("Labels alone (notes, colours, zones, titles)", cosmetic)
    if found:
        again = due.again if had is None else had
        yield from _listed("Steps due again", [f"{name}: {due.again[name]}" for name in again])
        yield from _listed("New steps", due.new)
        yield from _listed("Steps that fall away", due.gone)
        told = f"{len(again)} due again, {len(due.new)} new, {len(due.gone)} gone, {len(due.kept)} stay as they are"
        rest = len(due.again) - len(again)
        yield f"{told}; {rest} more of what it touches were still to do" if rest else told


def _listed(heading: str, lines: Sequence[str]) -> Iterator[str]:
    if lines:
        yield f"{heading}: {len(lines)}"
        yield from (f"  {line}" for line in lines)


def _document(
    old: str,
    new: str,
    before: Harness,
    after: Harness,
    due: DueAgain,
    found: Difference,
    had: Sequence[str] | None,
) -> Mapping[str, object]:
    from benchcheck.harness.difference.words import cosmetic_lines, matter_lines

    return {
        "schema": SCHEMA,
        "old": {"from": old, "digest": before.digest},
        "new": {"from": new, "digest": after.digest},
        "changes": [
            {
                "kind": change.kind,
                "how": change.how.value,
                "name": change.name,
                "former": change.former,
                "matters": change.matters,
                "fields": [
                    {"field": field.field, "was": field.was, "now": field.now, "label": field.cosmetic}
                    for field in change.fields
                ],
            }
            for change in found.changes
        ],
        "swapped": [{"contacts": list(swap.contacts), "runs": list(swap.runs)} for swap in found.swaps],
        "contacts": sorted(found.contacts),
        "nets": [list(net) for net in found.nets],
        "lines": matter_lines(found),
        "labels": cosmetic_lines(found),
        "steps": {
            "due_again": [{"step": name, "why": why} for name, why in due.again.items()],
            "had_verdict": None if had is None else list(had),
            "new": list(due.new),
            "gone": list(due.gone),
            "kept": len(due.kept),
        },
    }
