"""A session of a job: who is there, what is on the bench, which stages were run, and how it ended."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from benchcheck.bench.bench import Bench
from benchcheck.bench.meter import Meter
from benchcheck.checks.kind import Context
from benchcheck.harness.model import Harness
from benchcheck.jobs.capture_file import CaptureFile
from benchcheck.jobs.operator import Operator
from benchcheck.jobs.runner import Progress, Runner
from benchcheck.plan.plan import Plan
from benchcheck.readiness.board import Board
from benchcheck.record.store import JobRecord
from benchcheck.words.event import EventKind
from benchcheck.words.step import Stage

CAUTIONS = (
    "Dead circuits first: nothing is powered until its shorts are proved.",
    "The supply is current-limited, every protector is fitted.",
    "Batteries and other sources are isolated.",
    "The laptop runs on its battery, or every adapter is isolated.",
    "Whoever works on the equipment is clear of it before power comes on.",
    "This is a measuring and record-keeping aid, no airworthiness or safety approval; "
    "local codes and licensed practice rule.",
)


def run_stages(
    harness: Harness,
    plan: Plan,
    context: Context,
    bench: Bench,
    operator: Operator,
    record: JobRecord,
    stages: Sequence[Stage],
    *,
    who: str,
    cautions_by: str,
    progress: Progress,
    capture: Path | None = None,
    acknowledge: bool = False,
    meter: Meter | None = None,
    waive_unreported_errors: str = "",
) -> Board:
    """Run stages in their order and record the session around them, also where it is broken off.

    cautions_by             name of whoever read and accepted the cautions, for this session's first power step
    waive_unreported_errors reason for a waiver of error-frame steps where the adapter can't report them; "" for none
    """
    record.append(
        EventKind.SESSION_STARTED,
        {
            "bench": bench.identities(),
            "passive": bench.passive(),
            "ambient_c": harness.ambient_c,
            "meter": context.meter.name,
            "simulated": operator.simulated,
        },
        who=who,
    )
    sink = CaptureFile(capture, harness) if capture is not None and Stage.LIVE in stages else None
    runner = Runner(
        harness,
        plan,
        context,
        bench,
        operator,
        record,
        who=who,
        progress=progress,
        capture=sink,
        acknowledge=acknowledge,
        meter=meter,
    )
    outcome = "broken off"
    try:
        for stage in stages:
            if stage is not Stage.DEAD and cautions_by:
                record.append(EventKind.CAUTIONS, {"cautions": list(CAUTIONS)}, who=cautions_by)
                cautions_by = ""
            runner.run(stage)
        if waive_unreported_errors:
            for step_id, result in list(runner.board.results.items()):
                if result.step.check == "bus_errors" and result.verdict.reason == "not_reported":
                    runner.waive(step_id, waive_unreported_errors)
        outcome = "finished"
    finally:
        if sink is not None:
            record.append(EventKind.CAPTURE, sink.close(), who=who)
        record.append(EventKind.SESSION_ENDED, {"outcome": outcome}, who=who)
    return runner.board
