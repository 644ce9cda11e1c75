"""Recording a waiver: a named person accepts a step or a squawk as it is, and says why."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.cli.output import say
from benchcheck.words.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from benchcheck.readiness.board import Board

GATES = "It opens no gate: what keeps power or a unit out still does."


def waive(file: Path, *, step: str | None, squawk: str | None, who: str, reason: str) -> int:
    """Record it. Raises UsageError for an unknown id, an empty reason or name, or where there is nothing to accept."""
    from benchcheck.bench.clock import Clock
    from benchcheck.cli.job_plan import plan_to_record
    from benchcheck.readiness.board import fold
    from benchcheck.record.store import JobRecord
    from benchcheck.words.event import EventKind
    from benchcheck.words.person import name_fault

    if (step is None) == (squawk is None):
        raise UsageError("one thing is waived at a time", hint="Give --step ID or --squawk ID.")
    if not reason.strip():
        raise UsageError("a waiver needs its reason", where="--reason", hint="Say why it may stay as it is.")
    if wrong := name_fault(who):
        raise UsageError(wrong, where="--by", hint='Give the name of who accepts it: --by "Ann Example".')
    with JobRecord.open(file, clock=Clock(), who=who) as record:
        _, plan = plan_to_record(record, who)
        board = fold(plan, record.events())
        what, name = ("step", _step(board, step)) if step is not None else ("squawk", _squawk(board, str(squawk)))
        record.append(EventKind.WAIVER, {what: name, "reason": reason.strip()}, who=who)
    say(f"Recorded: {what} {name} is accepted by {who}. {GATES}")
    return ExitCode.PASS


def _step(board: Board, asked: str) -> str:
    from benchcheck.words.verdict import Outcome

    if asked not in board.plan.by_id:
        raise _unknown("step", asked, list(board.plan.by_id), "`benchcheck plan PROFILE --plain` lists them.")
    if board.outcome(asked) is Outcome.PASS:
        raise UsageError(f"step {asked} has passed: there is nothing to accept", where="--step")
    return asked


def _squawk(board: Board, asked: str) -> str:
    known = [squawk.id for squawk in board.squawks]
    if asked not in known:
        raise _unknown("open squawk", asked, known, "`benchcheck job show FILE --json` lists them.")
    return asked


def _unknown(what: str, asked: str, known: list[str], where: str) -> UsageError:
    from benchcheck.harness.reading.hints import did_you_mean, shown

    near = did_you_mean(asked, known, what="Open squawks" if "squawk" in what else "Steps")
    return UsageError(f"the job has no {what} {shown(asked)}", hint=f"{near} {where}".strip())
