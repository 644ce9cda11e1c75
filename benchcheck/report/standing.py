"""How each step stands, as the board has it: one rule for what is in force, so that board and report can't disagree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from benchcheck.plan.plan import Plan
from benchcheck.readiness.board import Board, due_by, fold
from benchcheck.readiness.in_force import is_changed
from benchcheck.report import pick
from benchcheck.words.event import Event, EventKind
from benchcheck.words.reading import reading_from_json
from benchcheck.words.result import Result
from benchcheck.words.verdict import Outcome

# What the fold says by when it meets a body that this version does not know.
_STRANGE = (KeyError, ValueError, TypeError, AttributeError)

CHANGED = "the profile has changed this step since it was read"
WORKED_ON = "something that this rests on was worked on since it was read"


@dataclass(frozen=True, slots=True)
class Standing:
    """Readings and skips by step.

    in_force  step -> the event that counts
    fallen    step -> its last event, where none counts any more
    why       step of `fallen` -> why it doesn't count
    former    step -> its other events, in order
    waived    step or squawk -> the reason of its waiver
    opened    ids of open squawks; `accepted`: of those that a waiver covers. None: the events can't be understood
    """

    in_force: Mapping[str, Event] = field(default_factory=dict)
    fallen: Mapping[str, Event] = field(default_factory=dict)
    why: Mapping[str, str] = field(default_factory=dict)
    former: Mapping[str, tuple[Event, ...]] = field(default_factory=dict)
    waived: Mapping[str, str] = field(default_factory=dict)
    opened: frozenset[str] | None = None
    accepted: frozenset[str] = frozenset()


def standing_of(events: Sequence[Event], plan: Plan | None) -> Standing:
    """What counts, with a plan by the rules of readiness; steps that the plan doesn't have, and all without a plan,
    by the part of the rules that needs none: a FAIL stands until a reading settles it."""
    by_step = _by_step(events)
    board = _board(plan or Plan(()), events)
    planned = plan.by_id if plan is not None and board is not None else {}
    in_force: dict[str, Event] = {}
    fallen: dict[str, Event] = {}
    why: dict[str, str] = {}
    put_back = _put_back(events)
    for name, own in by_step.items():
        if name not in planned or board is None:
            since, told = put_back.get(name, (0, ""))
            counting = [event for event in own if event.seq > since]
            if counting:
                in_force[name] = _settling(counting)
            else:
                fallen[name], why[name] = own[-1], told
            continue
        result = board.results.get(name)
        event = _event_of(result, own) if result is not None else None
        if event is not None:
            in_force[name] = event
        else:
            fallen[name] = own[-1]
            changed = own[-1].kind == EventKind.READING and is_changed(planned[name], own[-1].body)
            why[name] = board.put_back.get(name) or (CHANGED if changed else WORKED_ON)
    shown = in_force | fallen
    former = {name: tuple(event for event in own if event is not shown[name]) for name, own in by_step.items()}
    if board is None:
        return Standing(in_force, fallen, why, former)
    return Standing(
        in_force,
        fallen,
        why,
        former,
        board.waived,
        frozenset(squawk.id for squawk in board.squawks),
        frozenset(squawk.id for squawk in board.accepted),
    )


def _put_back(events: Sequence[Event]) -> dict[str, tuple[int, str]]:
    """Step -> the last event that made it due again, and why, as far as the events say so themselves."""
    found: dict[str, tuple[int, str]] = {}
    for event in events:
        if event.kind in (EventKind.REWORK, EventKind.PROFILE_CHANGED):
            found |= {name: (event.seq, told) for name, told in due_by(Plan(()), event).items()}
    return found


def _by_step(events: Sequence[Event]) -> dict[str, list[Event]]:
    found: dict[str, list[Event]] = {}
    for event in events:
        taken = event.kind == EventKind.READING and event.body.get("follow_up") is not True
        if (taken or event.kind == EventKind.SKIPPED) and (step := pick.text(event.body, "step")):
            found.setdefault(step, []).append(event)
    return found


def _board(plan: Plan, events: Sequence[Event]) -> Board | None:
    """None where a body is not as this version writes it: then nothing is proved by it either."""
    try:
        return fold(plan, events)
    except _STRANGE:
        return None


def _event_of(result: Result, own: Sequence[Event]) -> Event | None:
    """The event that a result in force comes from: the last that says the same."""
    return next((event for event in reversed(own) if _says(event, result)), None)


def _says(event: Event, result: Result) -> bool:
    if event.kind == EventKind.SKIPPED:
        return result.outcome is Outcome.SKIPPED and str(event.body.get("reason")) == result.verdict.text
    said, read = pick.table(event.body, "verdict"), event.body.get("reading")
    if not isinstance(read, Mapping) or (said.get("outcome"), said.get("reason"), said.get("text")) != (
        result.outcome.value,
        result.verdict.reason,
        result.verdict.text,
    ):
        return False
    try:
        return reading_from_json(read).to_json() == result.reading.to_json()
    except _STRANGE:
        return False


def outcome_of(event: Event) -> str:
    """The word of an event's verdict; empty where it has none that is known."""
    if event.kind == EventKind.SKIPPED:
        return Outcome.SKIPPED.value
    said = pick.text(pick.table(event.body, "verdict"), "outcome")
    return said if said in {outcome.value for outcome in Outcome} else ""


def _settling(own: Sequence[Event]) -> Event:
    """The event that counts of a step's own, in order: a FAIL gives way to PASS or FAIL only."""
    counts = own[0]
    for event in own[1:]:
        if outcome_of(counts) != Outcome.FAIL or outcome_of(event) in (Outcome.PASS, Outcome.FAIL):
            counts = event
    return counts
