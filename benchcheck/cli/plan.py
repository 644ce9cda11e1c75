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
@click.option(
    "--isolation", type=click.Choice(["near", "full", "plug"]), default="near", help="What is proved apart [near]."
)
@click.option(
    "--identity", type=click.Choice(["direct", "coded"]), default="direct", help="How a run is found [direct]."
)
@output_options
def command(profile: str, stage: str | None, isolation: str, identity: str, as_json: bool, plain: bool) -> int:
    """Show what must be measured, in which order, and what each reading must be.

    PROFILE is a folder, or the name of a profile that comes with benchcheck. Steps are grouped by bench state,
    with what to plug, lift or switch to get there. What the steps of a list share is said once above it.

    The order spares lead moves, and ways to another connector or zone. The table says how many there are, and how
    few lead moves any safe order needs at least. What the isolation readings prove apart stands below it, as numbers.

    `benchcheck job start --help` says what the ways of isolation and identity are.

    \b
    benchcheck plan starter
    benchcheck plan profiles/mine --stage dead
    benchcheck plan profiles/mine --isolation plug --identity coded
    benchcheck plan profiles/mine --plain | grep P101     one line a step, columns parted by tabs
    """
    from benchcheck.plan.plan import make_plan
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile
    from benchcheck.words.step import Stage
    from benchcheck.words.ways import Identity, Isolation, Ways

    harness = load_profile(find_profile(profile))
    plan = make_plan(harness, None, Ways(Isolation(isolation), Identity(identity)))
    if stage is not None:
        plan = plan.only(Stage(stage))
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

    from benchcheck.plan.coverage import coverage_lines
    from benchcheck.plan.plan import STAGES
    from benchcheck.report.visible import visible

    yield visible(harness.title)
    yield f"{_size(plan)} by hand."
    yield ""
    yield from _table(plan)
    covered = coverage_lines(plan, harness)
    if covered:
        yield ""
    for line in covered:
        yield from wrap(line, WIDTH, subsequent_indent="  ")
    stage, number = None, 0
    for group, changes in _grouped(plan):
        if group.stage is not stage:
            stage = group.stage
            whole = plan.only(stage)
            place = f"{STAGES.index(stage) + 1}. " if stage in STAGES else ""
            yield ""
            yield f"{place}{stage.value.upper()} STAGE: {_size(whole)}"
        yield ""
        yield from wrap(f"Bench: {group.state}", WIDTH, initial_indent="  ", subsequent_indent="         ")
        for change in changes:
            yield f"    - {change}"
        if _is_mixed(group.steps):
            yield ""
            yield from _walk(harness, group.steps, number)
            number += len(group.steps)
            continue
        for steps in _lists(group.steps):
            yield ""
            yield from _list(steps, number)
            number += len(steps)


def _table(plan: Plan) -> Iterator[str]:
    """What the plan costs, stage by stage, and the fewest lead moves that are possible."""
    from benchcheck.plan.plan import STAGES

    yield "         steps  probe moves  at least  ratio  connectors  zones  bench     time"
    stages = [(stage.value, plan.only(stage)) for stage in STAGES if plan.of_stage(stage)]
    for name, part in [*stages, *([("all", plan)] if len(stages) > 1 else [])]:
        cost, least = part.effort, part.least_effort
        ratio = f"{part.moves_ratio:.2f}" if least.moves else "-"
        yield (
            f"  {name:5}{len(part.steps):7}  {cost.moves:11}  {least.moves:8}  {ratio:>5}"
            f"  {cost.connectors:10}  {cost.zones:5}  {cost.changes:5}  {_time(part):>7}"
        ).rstrip()
    yield "  at least: lead moves that no safe order can do without. connectors, zones:"
    yield "  how often a lead goes to another. bench: things to plug, lift or switch."


def _is_mixed(steps: tuple[Step, ...]) -> bool:
    """Whether kinds come back in a list, because the way between contacts sets the order."""
    return len(list(_lists(steps))) > len({step.check for step in steps})


def _walk(harness: Harness, steps: tuple[Step, ...], done: int) -> Iterator[str]:
    """Steps of several kinds along the connectors: what each kind's steps share first, then each with the rest."""
    from textwrap import wrap

    from benchcheck.checks.kind import all_kinds
    from benchcheck.report.visible import visible

    usual: dict[str, tuple[str, str]] = {}
    count = dict.fromkeys((step.check for step in steps), 0)
    for name in count:
        mine = [step for step in steps if step.check == name]
        count[name] = len(mine)
        usual[name] = _most(_limit(step) for step in mine), _most(step.note for step in mine)
    for shared in dict.fromkeys(usual.values()):
        for name in count:
            if usual[name] == shared:
                yield f"  {all_kinds()[name].title} ({count[name]})"
        for text in filter(None, shared):
            yield from wrap(visible(text), WIDTH, initial_indent="      ", subsequent_indent="        ")
    number = done
    for refs, along in _along(steps):
        yield ""
        yield from wrap(visible(_at_connectors(harness, refs)), WIDTH, initial_indent="  ", subsequent_indent="    ")
        for step in along:
            number += 1
            head = f"{number:4}  {_at(step)}: {step.question}"
            yield from wrap(visible(head), WIDTH, initial_indent="  ", subsequent_indent=" " * 8)
            for text, said in zip((_limit(step), step.note), usual[step.check], strict=True):
                if text != said:
                    yield from wrap(visible(text), WIDTH, initial_indent=" " * 10, subsequent_indent=" " * 12)


def _most(texts: Iterator[str]) -> str:
    """The text that most steps share; nothing where hardly any do."""
    from collections import Counter

    counts = Counter(texts)
    text, count = counts.most_common(1)[0]
    return text if count > 1 and 2 * count > counts.total() else ""


def _along(steps: tuple[Step, ...]) -> Iterator[tuple[list[str], list[Step]]]:
    """Steps cut where the leads leave the connector that they had in common, with what they have in common."""
    from benchcheck.words.contact import ref_of

    common: list[str] = []
    along: list[Step] = []
    for step in steps:
        refs = list(dict.fromkeys((ref_of(step.red), ref_of(step.black))))
        if along and not set(common) & set(refs):
            yield common, along
            along = []
        common = [ref for ref in common if ref in refs] if along else refs
        along.append(step)
    if along:
        yield common, along


def _at_connectors(harness: Harness, refs: list[str]) -> str:
    places = []
    for ref in refs:
        connector = harness.connectors.get(ref)
        places.append(f"{ref} ({connector.zone})" if connector is not None and connector.zone else ref)
    return f"At {' and '.join(places)}"


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


def _time(plan: Plan) -> str:
    minutes = plan.estimate_s / 60
    return f"{minutes / 60:.1f} h" if minutes >= 90 else f"{minutes:.0f} min"


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
    from benchcheck.plan.coverage import coverage_document
    from benchcheck.plan.plan import STAGES

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
        "coverage": coverage_document(plan, harness),
        "stages": {stage.value: _totals(plan.only(stage)) for stage in STAGES},
        "groups": groups,
    }


def _totals(plan: Plan) -> dict[str, object]:
    cost, least = plan.effort, plan.least_effort
    return {
        "steps": len(plan.steps),
        "probe_moves": cost.moves,
        "lower_bound_moves": least.moves,
        "ratio": round(plan.moves_ratio, 4),
        "connector_changes": cost.connectors,
        "zone_changes": cost.zones,
        "bench_changes": cost.changes,
        "readings": cost.readings,
        "cost_s": round(cost.seconds),
        "cost_bound_s": round(least.seconds),
        "estimate_s": round(plan.estimate_s),
        "unresolved": sum(bool(step.unresolved) for step in plan.steps),  # this meter can't tell
    }


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
        "unresolved": step.unresolved,
    }
