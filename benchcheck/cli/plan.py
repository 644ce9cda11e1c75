"""`benchcheck plan PROFILE`: the steps in order, by bench state, with their limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json
from benchcheck.words.errors import ExitCode

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchcheck.harness.model import Harness
    from benchcheck.plan.plan import Group, Plan
    from benchcheck.words.step import Step

SCHEMA = "benchcheck.plan/1"
WIDTH = 79


@click.command()
@click.argument("profile")
@click.option("--stage", type=click.Choice(["dead", "power", "live"]), help="Only this stage.")
@output_options
def command(profile: str, stage: str | None, as_json: bool, plain: bool) -> int:
    """Show what must be measured, in which order, and what each reading must be.

    PROFILE is a folder, or the name of a profile that comes with benchcheck. Steps are grouped by bench state,
    with what to plug, lift or switch to get there. What the steps of a list share is said once above it.

    \b
    benchcheck plan starter
    benchcheck plan profiles/mine --stage dead
    benchcheck plan profiles/mine --plain | grep P101     one line a step, columns parted by tabs
    """
    from benchcheck.plan.plan import Plan, make_plan
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile

    harness = load_profile(find_profile(profile))
    plan = make_plan(harness)
    if stage is not None:
        plan = Plan(tuple(step for step in plan.steps if step.stage == stage))
    if as_json:
        print_json(_document(harness, plan))
    else:
        for line in _plain_lines(plan) if plain else _lines(harness, plan):
            click.echo(line)
    return ExitCode.PASS


def _grouped(plan: Plan) -> Iterator[tuple[Group, tuple[str, ...]]]:
    """Every group with what must be done to get from the state before it to its own."""
    from benchcheck.words.bench_state import ALL_OPEN

    now = ALL_OPEN
    for group in plan.groups():
        yield group, now.changes_to(group.state)
        now = group.state


def _lines(harness: Harness, plan: Plan) -> Iterator[str]:
    from textwrap import wrap

    from benchcheck.plan.plan import STAGES, Plan
    from benchcheck.report.visible import visible

    yield visible(harness.title)
    yield f"{_size(plan)} by hand."
    stage, number = None, 0
    for group, changes in _grouped(plan):
        if group.stage is not stage:
            stage = group.stage
            whole = Plan(plan.of_stage(stage))
            place = f"{STAGES.index(stage) + 1}. " if stage in STAGES else ""
            yield ""
            yield f"{place}{stage.value.upper()} STAGE: {_size(whole)}"
        yield ""
        yield from wrap(f"Bench: {group.state}", WIDTH, initial_indent="  ", subsequent_indent="         ")
        for change in changes:
            yield f"    - {change}"
        for steps in _lists(group.steps):
            yield ""
            yield from _list(steps, number)
            number += len(steps)


def _lists(steps: tuple[Step, ...]) -> Iterator[tuple[Step, ...]]:
    """Steps of one bench state, cut where the kind of check changes."""
    from itertools import groupby

    for _, same in groupby(steps, key=lambda step: step.check):
        yield tuple(same)


def _list(steps: tuple[Step, ...], done: int) -> Iterator[str]:
    from textwrap import wrap

    from benchcheck.checks.kind import all_kinds
    from benchcheck.report.visible import visible

    first = steps[0]
    one_limit = all(step.band == first.band for step in steps) and len(steps) > 1
    one_note = all(step.note == first.note for step in steps) and len(steps) > 1
    yield f"  {all_kinds()[first.check].title}"
    shared = [_limit(first)] if one_limit else []
    shared += [first.note] if one_note and first.note else []
    for text in shared:
        yield from wrap(visible(text), WIDTH, initial_indent="      ", subsequent_indent="        ")
    for number, step in enumerate(steps, done + 1):
        head = f"{number:4}  {_at(step)}: {step.question}"
        yield from wrap(visible(head), WIDTH, initial_indent="  ", subsequent_indent=" " * 8)
        for text in ("" if one_limit else _limit(step), "" if one_note else step.note):
            yield from wrap(visible(text), WIDTH, initial_indent=" " * 10, subsequent_indent=" " * 12)


def _at(step: Step) -> str:
    """Where the step is done: its two contacts, or what it is about."""
    if step.red and step.black:
        return f"{step.red} to {step.black}"
    return ", ".join(step.subject)


def _limit(step: Step) -> str:
    from benchcheck.report.step_rows import limit_words

    if step.band is None:
        return ""
    return f"limit: {limit_words(step.band.low, step.band.high, step.band.unit)} ({step.band.source})"


def _size(plan: Plan) -> str:
    minutes = plan.estimate_s / 60
    time = f"{minutes / 60:.1f} hours" if minutes >= 90 else f"{minutes:.0f} minute{'' if round(minutes) == 1 else 's'}"
    steps, moves = len(plan.steps), plan.probe_moves
    return f"{steps} step{'' if steps == 1 else 's'}, {moves} probe move{'' if moves == 1 else 's'}, about {time}"


def _plain_lines(plan: Plan) -> Iterator[str]:
    from benchcheck.report.visible import visible

    for number, step in enumerate(plan.steps, 1):
        cells = [
            str(number),
            step.stage.value,
            step.id,
            _at(step),
            step.question,
            _limit(step),
            step.note,
            f"bench: {step.state}",
        ]
        yield "\t".join(visible(cell) for cell in cells)


def _document(harness: Harness, plan: Plan) -> dict[str, object]:
    from benchcheck.plan.plan import STAGES, Plan

    groups, number = [], 0
    for group, changes in _grouped(plan):
        steps = [_step(number + index, step) for index, step in enumerate(group.steps, 1)]
        number += len(steps)
        groups.append(
            {"stage": group.stage.value, "state": group.state.to_json(), "changes": list(changes), "steps": steps}
        )
    return {
        "schema": SCHEMA,
        "profile": harness.name,
        "title": harness.title,
        "digest": harness.digest,
        **_totals(plan),
        "stages": {stage.value: _totals(Plan(plan.of_stage(stage))) for stage in STAGES},
        "groups": groups,
    }


def _totals(plan: Plan) -> dict[str, object]:
    return {"steps": len(plan.steps), "probe_moves": plan.probe_moves, "estimate_s": round(plan.estimate_s)}


def _step(number: int, step: Step) -> dict[str, object]:
    from benchcheck.jobs.bodies import band_json

    return {
        "number": number,
        "id": step.id,
        "check": step.check,
        "quantity": step.quantity.value,
        "question": step.question,
        "subject": list(step.subject),
        "red": step.red,
        "black": step.black,
        "load_a": step.load_a,
        "limit": band_json(step.band),
        "note": step.note,
    }
