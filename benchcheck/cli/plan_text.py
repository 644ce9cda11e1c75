"""The plan as a person reads it, and as lines for other programs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import groupby
from textwrap import wrap

from benchcheck.checks.kind import all_kinds
from benchcheck.harness.connector.access import Access
from benchcheck.harness.model import Harness
from benchcheck.plan.coverage import coverage_lines
from benchcheck.plan.plan import STAGES, Group, Plan
from benchcheck.report.step_rows import limit_words
from benchcheck.report.visible import visible
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import ref_of
from benchcheck.words.quantity import counted
from benchcheck.words.step import Step

WIDTH = 79


def grouped(plan: Plan) -> Iterator[tuple[Group, tuple[str, ...]]]:
    """Every group with what must be done to get from the state before it to its own."""
    now = ALL_OPEN
    for group in plan.groups():
        yield group, now.changes_to(group.state)
        now = group.state


def text_lines(harness: Harness, plan: Plan, *, touch: bool = False) -> Iterator[str]:
    """The plan in 79 columns; with `touch`, how each contact is touched too."""
    access = Access(harness) if touch else None
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
    for group, changes in grouped(plan):
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
            yield from _walk(harness, group.steps, number, access)
            number += len(group.steps)
            continue
        for steps in _lists(group.steps):
            yield ""
            yield from _list(steps, number, access)
            number += len(steps)


def _table(plan: Plan) -> Iterator[str]:
    """What the plan costs, stage by stage, and the fewest lead moves that are possible."""
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


def _walk(harness: Harness, steps: tuple[Step, ...], done: int, access: Access | None) -> Iterator[str]:
    """Steps of several kinds along the connectors: what each kind's steps share first, then each with the rest."""

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
            yield from _head(step, number, access)
            for text, said in zip((_limit(step), step.note), usual[step.check], strict=True):
                if text != said:
                    yield from wrap(visible(text), WIDTH, initial_indent=" " * 10, subsequent_indent=" " * 12)


def _head(step: Step, number: int, access: Access | None) -> Iterator[str]:
    head = f"{number:4}  {_at(step)}: {step.question}"
    yield from wrap(visible(head), WIDTH, initial_indent="  ", subsequent_indent=" " * 8)
    for lead, words in (touch_words(step, access) if access is not None else {}).items():
        text = visible(f"{lead}: {words}")
        yield from wrap(text, WIDTH, initial_indent=" " * 10, subsequent_indent=" " * 12)


def touch_words(step: Step, access: Access) -> dict[str, str]:
    """Lead -> how it touches its contact; nothing for a step without leads."""
    if not step.red or not step.black:
        return {}
    return {
        "red": access.words(step.red, step.state, step.black),
        "black": access.words(step.black, step.state, step.red),
    }


def _most(texts: Iterator[str]) -> str:
    """The text that most steps share; nothing where hardly any do."""
    counts = Counter(texts)
    text, count = counts.most_common(1)[0]
    return text if count > 1 and 2 * count > counts.total() else ""


def _along(steps: tuple[Step, ...]) -> Iterator[tuple[list[str], list[Step]]]:
    """Steps cut where the leads leave the connector that they had in common, with what they have in common."""
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
    for _, same in groupby(steps, key=lambda step: step.check):
        yield tuple(same)


def _list(steps: tuple[Step, ...], done: int, access: Access | None) -> Iterator[str]:
    first = steps[0]
    one_limit = all(step.band == first.band for step in steps) and len(steps) > 1
    one_note = all(step.note == first.note for step in steps) and len(steps) > 1
    yield f"  {all_kinds()[first.check].title}"
    shared = [_limit(first)] if one_limit else []
    shared += [first.note] if one_note and first.note else []
    for text in shared:
        yield from wrap(visible(text), WIDTH, initial_indent="      ", subsequent_indent="        ")
    for number, step in enumerate(steps, done + 1):
        yield from _head(step, number, access)
        for text in ("" if one_limit else _limit(step), "" if one_note else step.note):
            yield from wrap(visible(text), WIDTH, initial_indent=" " * 10, subsequent_indent=" " * 12)


def _at(step: Step) -> str:
    """Where the step is done: its two contacts, or what it is about."""
    if step.red and step.black:
        return f"{step.red} to {step.black}"
    return ", ".join(step.subject)


def _limit(step: Step) -> str:
    if step.band is None:
        return ""
    return f"limit: {limit_words(step.band.low, step.band.high, step.band.unit)} ({step.band.source})"


def _size(plan: Plan) -> str:
    minutes = plan.estimate_s / 60
    time = f"{minutes / 60:.1f} hours" if minutes >= 90 else f"{minutes:.0f} minute{'' if round(minutes) == 1 else 's'}"
    steps, moves = len(plan.steps), plan.probe_moves
    return f"{counted(steps, 'step')}, {counted(moves, 'probe move')}, about {time}"


def _time(plan: Plan) -> str:
    minutes = plan.estimate_s / 60
    return f"{minutes / 60:.1f} h" if minutes >= 90 else f"{minutes:.0f} min"


def plain_lines(plan: Plan) -> Iterator[str]:
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
