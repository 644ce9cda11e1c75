"""What a person does next: the steps of a stage that can be done now."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.jobs.runner import Runner
from benchcheck.plan.plan import STAGES
from benchcheck.words.step import Stage, Step
from benchcheck.words.verdict import Outcome


@dataclass(frozen=True, slots=True)
class NextUp:
    """Steps of one stage, in order; none where nothing can be done. `why` says what keeps other steps out."""

    stage: Stage
    steps: tuple[Step, ...]
    again: bool = False  # they have a verdict already, and it is no PASS
    why: str = ""


def next_up(runner: Runner) -> NextUp:
    """First what has no verdict yet, stage by stage; then what has one and did not pass."""
    board = runner.board
    dark = runner.power_blockers()
    why = f"power is not let in, not proved: {'; '.join(dark[:2])}" if dark else ""
    refused_first = ""
    for again in (False, True):
        for stage in STAGES:
            found = []
            for step in board.todo(stage):
                if (step.id in board.results) is not again or (dark and step.state.supply_on):
                    continue
                refused = runner.why_not(step)
                if refused:
                    refused_first = refused_first or refused
                else:
                    found.append(step)
            if found:
                return NextUp(stage, tuple(found), again, why)
    return NextUp(Stage.LIVE, (), why=why or refused_first)


def stage_with_failure(runner: Runner) -> Stage | None:
    """The first stage in which a step has failed."""
    failed = {step.stage for step in runner.board.todo() if runner.board.outcome(step.id) is Outcome.FAIL}
    return next((stage for stage in STAGES if stage in failed), None)
