"""What the events say now: verdicts in force, open squawks, waivers, and what each connector still lacks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from benchcheck.harness.model import Harness
from benchcheck.plan.plan import Plan
from benchcheck.readiness.in_force import InForce, naming
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import ExitCode
from benchcheck.words.event import Event, EventKind
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.result import Result
from benchcheck.words.squawk import Squawk, SquawkKind
from benchcheck.words.step import Stage, Step
from benchcheck.words.verdict import Outcome, Verdict


@dataclass(frozen=True)
class Board:
    """The state of a job, computed from its events.

    results   the result in force of each step of the plan that has one
    squawks   those that are open, in the order in which they were opened
    accepted  those that a named person has waived
    waived    step or squawk -> the reason that a named person gave
    put_back  step -> why what was known of it fell: something that it rests on was reworked, or changed in the pin table
    """

    plan: Plan
    results: Mapping[str, Result] = field(default_factory=dict)
    squawks: Sequence[Squawk] = ()
    waived: Mapping[str, str] = field(default_factory=dict)
    accepted: Sequence[Squawk] = ()
    put_back: Mapping[str, str] = field(default_factory=dict)

    @property
    def due_again(self) -> dict[str, str]:
        """Step -> why it is to be done again; those that were since are not among them."""
        return {name: why for name, why in self.put_back.items() if name not in self.results}

    def outcome(self, step_id: str) -> Outcome | None:
        """The verdict in force, or None where the step is still to do."""
        result = self.results.get(step_id)
        return result.outcome if result else None

    def passed(self, step: Step) -> bool:
        """Whether nothing more is wanted of a step: it passed, or was waived."""
        return self.outcome(step.id) is Outcome.PASS or step.id in self.waived

    def todo(self, stage: Stage | None = None) -> list[Step]:
        """Steps that have not passed and were not waived, in plan order."""
        return [s for s in self.plan.steps if (stage is None or s.stage is stage) and not self.passed(s)]

    def next_step(self, stage: Stage | None = None) -> Step | None:
        """The first step without a verdict; where all have one, the first that did not pass."""
        todo = self.todo(stage)
        return next((s for s in todo if s.id not in self.results), todo[0] if todo else None)

    def counts(self, stage: Stage) -> dict[str, int]:
        """How many steps of a stage passed, failed, are unsure, were skipped, waived, or are still to do."""
        found = dict.fromkeys(("PASS", "FAIL", "UNSURE", "SKIPPED", "waived", "todo"), 0)
        for step in self.plan.of_stage(stage):
            outcome = self.outcome(step.id)
            if step.id in self.waived and outcome is not Outcome.PASS:
                found["waived"] += 1
            else:
                found[outcome.value if outcome else "todo"] += 1
        return found

    def stage_of_connector(self, ref: str, stage: Stage) -> str:
        """`pass`, `fail`, `unsure`, `todo`, or `none` where no step of the stage touches the connector."""
        steps = [s for s in self.plan.of_stage(stage) if ref in touched(s)]
        if not steps:
            return "none"
        outcomes = {self.outcome(s.id) for s in steps if not self.passed(s)}
        if Outcome.FAIL in outcomes:
            return "fail"
        if None in outcomes:
            return "todo"
        return "unsure" if outcomes else "pass"

    def exit_code(self, stages: Iterable[Stage]) -> ExitCode:
        """What a command that ran these stages says: FAIL before UNSURE before PASS. Nothing to judge is UNSURE."""
        wanted = set(stages)
        steps = [s for s in self.plan.steps if s.stage in wanted]
        left = [self.outcome(s.id) for s in steps if not self.passed(s)]
        if Outcome.FAIL in left or any(s.stage in wanted for s in self.squawks):
            return ExitCode.FAIL
        return ExitCode.UNSURE if left or not steps else ExitCode.PASS


def touched(step: Step) -> frozenset[str]:
    """The connectors that a step is about."""
    contacts = [step.red, step.black, *step.subject]
    named = step.settings.get("connectors")  # where one reading stands for a whole conducting group
    refs = [str(ref) for ref in named] if isinstance(named, list) else []
    return frozenset([*(ref_of(contact) for contact in contacts if contact), *refs])


def fold(plan: Plan, events: Iterable[Event]) -> Board:
    """The board that these events add up to. Events of steps that the plan no longer has are passed over.

    A waiver of a squawk covers its steps; it accepts what was known when it was given, so a later reading of a
    step, or the squawk opened anew, stands for itself. What a reading says of a step that the profile has changed
    since is not in force. A rework and a changed profile name the steps that are due again: their verdicts and waivers
    fall there and then.
    """
    results = InForce(plan)
    put_back: dict[str, str] = {}
    squawks: dict[str, Squawk] = {}
    waived: dict[str, str] = {}
    for event in events:
        body = event.body
        match event.kind:
            case EventKind.READING if not body.get("follow_up"):
                results.read(body)
                waived.pop(str(body["step"]), None)
            case EventKind.SKIPPED:
                step = plan.by_id.get(str(body["step"]))
                if step is not None:
                    verdict = Verdict(Outcome.SKIPPED, "skipped", str(body["reason"]))
                    results.take(Result(step, Reading(ReadingState.NONE, ""), verdict))
            case EventKind.SQUAWK_OPENED:
                squawk = squawk_from_json(body)
                squawks[squawk.id] = squawk
                waived.pop(squawk.id, None)
            case EventKind.SQUAWK_CLOSED:
                squawks.pop(str(body["id"]), None)
            case EventKind.WAIVER:
                name, reason = str(body.get("step") or body.get("squawk")), str(body["reason"])
                waived[name] = reason
                told = squawks.get(name)
                waived |= dict.fromkeys(told.steps if told else (), reason)
            case EventKind.REWORK | EventKind.PROFILE_CHANGED:
                due = due_by(plan, event)
                had = {name for name in due if name in results.by_step or name in waived}
                put_back |= {name: why for name, why in due.items() if name in had}
                for name in due:
                    results.drop(name)
                    waived.pop(name, None)
                for squawk in squawks.values():
                    if any(name in due for name in squawk.steps):
                        waived.pop(squawk.id, None)
    accepted = [s for s in squawks.values() if s.id in waived or (s.steps and all(step in waived for step in s.steps))]
    still_open = tuple(s for s in squawks.values() if s not in accepted)
    return Board(plan, results.by_step, still_open, waived, tuple(accepted), put_back)


def due_by(plan: Plan, event: Event) -> dict[str, str]:
    """Step -> why it is due again, as a rework or a changed profile says it.

    Where the event names no steps, those of the plan that name what was reworked, and those of whole groups there.
    """
    body = event.body
    named = body.get("again")
    what = ", ".join(name for key in ("contacts", "runs", "connectors") for name in _texts(body, key))
    told = f"{what} was reworked" if event.kind == EventKind.REWORK else "the pin table was changed"
    if isinstance(named, Mapping):
        return {str(name): f"{told}: {why}" if why else told for name, why in named.items()}
    if event.kind != EventKind.REWORK:
        return {}
    return dict.fromkeys(
        naming(plan, set(_texts(body, "contacts")), _texts(body, "runs"), _texts(body, "connectors")), told
    )


def _texts(body: Mapping[str, object], key: str) -> tuple[str, ...]:
    value = body.get(key)
    return tuple(str(name) for name in value) if isinstance(value, list) else ()


def squawk_from_json(body: Mapping[str, object]) -> Squawk:
    """The squawk that `Squawk.to_json` wrote."""

    def names(key: str) -> tuple[str, ...]:
        value = body.get(key)
        return tuple(str(name) for name in value) if isinstance(value, list) else ()

    readings = body.get("readings")
    return Squawk(
        SquawkKind(str(body["kind"])),
        names("where"),
        str(body["stage"]),
        str(body["text"]),
        names("steps"),
        tuple(dict(r) for r in readings if isinstance(r, Mapping)) if isinstance(readings, list) else (),
    )


@dataclass(frozen=True, slots=True)
class ConnectorRow:
    """One line of the board."""

    ref: str
    family: str
    unit: str
    zone: str
    stages: tuple[tuple[Stage, str], ...]


def connector_rows(harness: Harness, board: Board) -> list[ConnectorRow]:
    """Every connector with what each stage says of it."""
    stages = (Stage.DEAD, Stage.POWER, Stage.LIVE)
    return [
        ConnectorRow(
            c.ref, c.family, c.unit, c.zone, tuple((stage, board.stage_of_connector(c.ref, stage)) for stage in stages)
        )
        for c in harness.connectors.values()
    ]
