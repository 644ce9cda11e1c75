"""A session of a job: who is there, what is on the bench, which stages were run, and how it ended."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from types import TracebackType

from benchcheck.bench.bench import Bench
from benchcheck.bench.instruments.meter import Meter
from benchcheck.bench.instruments.supply import IF_KILLED
from benchcheck.checks.kind import Context
from benchcheck.harness.model import Harness
from benchcheck.jobs.asking import HandSwitched
from benchcheck.jobs.listening.capture_file import CaptureFile, PartLimits
from benchcheck.jobs.operator import Operator
from benchcheck.jobs.runner import Progress, Runner, Watcher
from benchcheck.plan.plan import Plan
from benchcheck.readiness.board import Board
from benchcheck.record.store import JobRecord
from benchcheck.words.event import EventKind
from benchcheck.words.step import Quantity, Stage, Step

CAUTIONS = (
    "Dead circuits first: nothing is powered until its shorts are proved.",
    "The supply is current-limited, every protector is fitted.",
    IF_KILLED,
    "Batteries and other sources are isolated.",
    "Every clip, shorting plug and coded plug is off.",
    "The laptop runs on its battery, or every adapter is isolated.",
    "Whoever works on the equipment is clear of it before power comes on.",
    "This is a measuring and record-keeping aid, no airworthiness or safety approval; "
    "local codes and licensed practice rule.",
)


class Session:
    """One session of a job on one bench, around a Runner. Use it in a `with`; it is recorded from `begin` to the end.

    The harness, its plan and context are those of the day's ambient temperature; `ambient_said_by` is who said that, empty
    where it is the profile's.
    However it ends, supply and load are off, the capture is closed, and the record says how it ended.
    """

    def __init__(
        self,
        harness: Harness,
        plan: Plan,
        context: Context,
        bench: Bench,
        operator: Operator,
        record: JobRecord,
        *,
        who: str,
        progress: Progress,
        capture: Path | None = None,
        capture_parts: PartLimits | None = None,
        acknowledge: bool = False,
        transmit: bool = False,
        meter: Meter | None = None,
        supply: HandSwitched | None = None,
        watcher: Watcher | None = None,
        ambient_said_by: str = "",
    ) -> None:
        self.harness = harness
        self._ambient_said_by = ambient_said_by
        self.plan = plan
        self._bench = bench
        self._meter_name = context.meter.name
        self._operator = operator
        self._record = record
        self._who = who
        self._supply = supply
        self._transmit = transmit
        self._sink = CaptureFile(capture, harness, capture_parts) if capture is not None else None
        self.begun = False
        self.cautions_accepted = False
        self.runner = Runner(
            harness,
            plan,
            context,
            bench,
            operator,
            record,
            who=who,
            progress=progress,
            capture=self._sink,
            acknowledge=acknowledge,
            transmit=transmit,
            meter=meter,
            supply=supply,
            watcher=watcher,
        )
        self.runner.cautions_accepted = False

    def begin(self) -> None:
        """Ask who is on the bench, and record that the session has started. The second time it does nothing."""
        if self.begun:
            return
        by_hand = {"supply": self._supply.identity} if self._supply is not None else {}
        body = {
            "bench": self._bench.identities() | by_hand,
            "passive": self._bench.passive(),
            "ambient_c": self.harness.ambient_c,
            "ambient_said_by": self._ambient_said_by,  # nobody: it is the profile's
            "meter": self._meter_name,
            "simulated": self._operator.simulated,
            # only where somebody allowed it: the loop-back tests may send on their lines
            **({"transmit": True} if self._transmit else {}),
        }
        # what is read from here on was read against the profile as it is now
        self._record.append(EventKind.SESSION_STARTED, body, who=self._who, profile=self.harness.digest)
        self.begun = True

    def listening(self, step: Step) -> str:
        """How silent this bench is on the bus that a step listens to, and how that is known; empty for another step."""
        if step.quantity is not Quantity.CAN:
            return ""
        return self._bench.passive().get(str(step.settings.get("bus", "")), "")

    def accept_cautions(self, name: str) -> None:
        """Record who has read and accepted the cautions."""
        self._record.append(EventKind.CAUTIONS, {"cautions": list(CAUTIONS)}, who=name)
        self.cautions_accepted = self.runner.cautions_accepted = True

    def __enter__(self) -> Session:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if self.begun:
                self.runner.leave_safe()
        finally:
            bodies = self._sink.close() if self._sink is not None else []
            if self._sink is not None and not self.begun:
                self._sink.forget()
            if self.begun:
                for body in bodies:
                    self._record.append(EventKind.CAPTURE, body, who=self._who)
                outcome = "finished" if kind is None else "broken off"
                self._record.append(EventKind.SESSION_ENDED, {"outcome": outcome}, who=self._who)


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
    session = Session(
        harness,
        plan,
        context,
        bench,
        operator,
        record,
        who=who,
        progress=progress,
        capture=capture if Stage.LIVE in stages else None,
        acknowledge=acknowledge,
        meter=meter,
    )
    with session:
        session.begin()
        runner = session.runner
        for stage in stages:
            if stage is not Stage.DEAD and cautions_by:
                session.accept_cautions(cautions_by)
                cautions_by = ""
            runner.run(stage)
        if waive_unreported_errors:
            for step_id, result in list(runner.board.results.items()):
                if result.step.check == "bus_errors" and result.verdict.reason == "not_reported":
                    runner.waive(step_id, waive_unreported_errors)
    return runner.board
