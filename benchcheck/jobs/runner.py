"""Runs stages of a job: asks the bench step by step, judges, records, finds the fault behind what failed."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from benchcheck.bench.bench import Bench
from benchcheck.bench.instruments.meter import Meter
from benchcheck.checks.kind import Context, all_kinds
from benchcheck.diagnosis.dead import diagnose_dead
from benchcheck.diagnosis.known import KnownFaults
from benchcheck.diagnosis.live import diagnose_live
from benchcheck.diagnosis.power import diagnose_power
from benchcheck.diagnosis.recorded import recorded_probes
from benchcheck.harness.model import Harness
from benchcheck.jobs.asked import BackAsked, SkipAsked
from benchcheck.jobs.asking import NO_LEAVE_TO_SEND, Asker, HandSwitched
from benchcheck.jobs.bodies import follow_up_body, reading_body
from benchcheck.jobs.listening.capture_sink import CaptureSink
from benchcheck.jobs.listening.hearing import Hearing
from benchcheck.jobs.operator import Operator
from benchcheck.plan.plan import GATE_CHECKS, Plan
from benchcheck.readiness.board import Board, fold
from benchcheck.readiness.gates import Gates
from benchcheck.readiness.in_force import InForce
from benchcheck.record.store import JobRecord
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.event import EventKind
from benchcheck.words.lead_zero import LeadZero
from benchcheck.words.reading import Reading
from benchcheck.words.request import Request
from benchcheck.words.result import Result
from benchcheck.words.squawk import Squawk
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict

T = TypeVar("T")
Progress = Callable[[str], None]
LEFT_OUT = "left_out"  # by a person; what a gate keeps out is "skipped"


# A mended step puts others in doubt, and each of these may be one that is mended: this often they are read again.
MOST_ROUNDS = 5


class Watcher:
    """Is told what a runner does as it does it. This one passes it all over."""

    def step(self, step: Step) -> None:
        """A step begins."""

    def result(self, result: Result) -> None:
        """A step is done, or was left out."""

    def diagnosing(self, stage: Stage) -> None:
        """The probes that follow belong to no step: the fault is looked for."""


class Runner:
    """One session of a job on one bench.

    A rerun resumes: steps that passed or were waived are not asked again.
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
        capture: CaptureSink | None = None,
        acknowledge: bool = False,
        transmit: bool = False,
        meter: Meter | None = None,
        supply: HandSwitched | None = None,
        watcher: Watcher | None = None,
    ) -> None:
        self.harness = harness
        self.plan = plan
        self._context = context
        self._operator = operator
        self._record = record
        self._who = who
        self._progress = progress
        self._watcher = watcher or Watcher()
        self._gates = Gates(harness, plan)
        self._going_in = ""
        self._capture = capture
        self._stamp_ns = bench.clock.stamp_ns
        self.cautions_accepted = True  # a session takes that back until somebody accepts them
        self._asker = Asker(
            harness,
            bench,
            operator,
            Hearing(harness, bench, capture, acknowledge=acknowledge),
            on_state=self._state_confirmed,
            on_power_off=self._power_off_read,
            on_zeroed=self._leads_zeroed,
            on_contact_lost=self._contact_lost,
            permit=self._permitted,
            may_power=self._may_power,
            meter=meter,
            supply=supply,
            transmit=transmit,
        )
        self._transmit = transmit
        self._refold()

    @property
    def state(self) -> BenchState | None:
        """The bench state that was last confirmed; None where that is not known."""
        return self._asker.state

    def run(self, stage: Stage) -> Board:
        """Run what is left of a stage, then look for the faults behind its failures."""
        todo = self.board.todo(stage)
        self._progress(f"{stage.value} stage: {len(todo)} of {len(self.plan.of_stage(stage))} steps to do")
        try:
            skipped: set[str] = set()
            for _ in range(MOST_ROUNDS):
                # Units out first, for all feeds; only then does one after the other go in.
                out = self._run_steps([step for step in todo if not _with_units(step)])
                out += self._run_steps([step for step in todo if _with_units(step)])
                self._asker.end_batch()
                self._refold()
                # what a mended step has put in doubt, and what it has opened the way to, is read in the same go
                skipped -= {result.step.id for result in out}
                skipped |= {result.step.id for result in out if result.outcome is Outcome.SKIPPED}
                todo = [
                    step
                    for step in self.board.todo(stage)
                    if step.id not in self.board.results or (step.id in skipped and not self.why_not(step))
                ]
                if not todo:
                    break
            self.diagnose(stage)
        finally:
            self.leave_safe()
        counts = self.board.counts(stage)
        self._progress(
            f"{stage.value} stage: {counts['PASS']} PASS, {counts['FAIL']} FAIL, {counts['UNSURE']} UNSURE, "
            f"{counts['SKIPPED']} SKIPPED, {counts['waived']} waived"
        )
        return self.board

    def waive(self, step_id: str, reason: str) -> None:
        """Record a waiver for a step, in the operator's name."""
        self._record.append(EventKind.WAIVER, {"step": step_id, "reason": reason}, who=self._who)
        self._refold()

    def diagnose(self, stage: Stage) -> None:
        """Look for the faults behind what failed in a stage; opens new squawks, closes those that a reading cleared."""
        self._watcher.diagnosing(stage)
        results = [r for s in self.plan.of_stage(stage) if (r := self.board.results.get(s.id)) is not None]
        if stage is Stage.DEAD:
            probes = recorded_probes(self._context, self._record.events())
            self._open(self._drive(diagnose_dead(self._context, results, probes)), stage)
            return
        known = KnownFaults(self._context, self.board.squawks)
        if stage is Stage.POWER:
            self._open(self._drive(diagnose_power(self._context, results, known)), stage)
        else:
            self._open(diagnose_live(self._context, results, known), stage)

    def leave_safe(self) -> None:
        """Supply off, listening stopped."""
        self._asker.leave_safe()

    # --- gates ------------------------------------------------------------------------------------------------

    def _permitted(self, state: BenchState) -> BenchState:
        return self._gates.permitted(self.board, state, self._going_in)

    def _may_power(self) -> str:
        if not self.cautions_accepted:
            return "the cautions have not been accepted in this session"
        shorts = self.power_blockers()
        return f"power is not let in, not proved: {'; '.join(shorts[:2])}" if shorts else ""

    def _run_steps(self, steps: Sequence[Step]) -> list[Result]:
        results: dict[int, Result] = {}
        every = max(len(steps) // 10, 25)
        asked: list[int] = []  # steps that this run has measured, for going back
        number = 0
        while number < len(steps):
            try:
                result = self.run_step(steps[number])
            except BackAsked:
                number = asked.pop() if asked else number
                continue
            results[number] = result
            if result.verdict.reason != "skipped":
                asked.append(number)
            number += 1
            if number % every == 0 or number == len(steps):
                self._progress(f"  {number} of {len(steps)}")
        return list(results.values())

    def run_step(self, step: Step) -> Result:
        """Do one step now, or skip it with the reason why it can't be done; either way it is recorded."""
        why = self.why_not(step)
        if why:
            return self._skip(step, why)
        self._watcher.step(step)
        try:
            return self._measure(step)
        except SkipAsked as skipped:
            return self._skip(step, f"left out by {self._who}: {skipped.reason}", LEFT_OUT)

    def _measure(self, step: Step) -> Result:
        measuring = all_kinds()[step.check].measure(step)
        self._going_in = str(step.settings["unit"]) if step.check == "unit_current" else ""
        try:
            request = next(measuring)
            while True:
                if request.quantity is Quantity.EARLIER:
                    request = measuring.send(self._earlier(step, request.source))
                else:
                    request = measuring.send(self._asker.answer(request, step))
        except StopIteration as stop:
            judged = stop.value
        seen = replace(step, state=self._asker.permit(step.state))
        self._going_in = ""
        result = Result(seen, judged.reading, judged.verdict)
        self._record.append(EventKind.READING, reading_body(result), who=self._who)
        self._mark(step, "step_judged", {"state": seen.state.to_json()})
        self._in_force.take(replace(result, step=step))
        self._watcher.result(result)
        return result

    def _earlier(self, step: Step, source: str) -> Reading:
        """The reading in force of another step; noted in the capture, since a verdict depends on it."""
        result = self.board.results.get(source)
        reading = result.reading if result is not None else Reading.none("it was not read in this job")
        self._mark(step, "earlier", {"of": source, "reading": reading.to_json()})
        return reading

    def why_not(self, step: Step) -> str:
        """Why a step can't be done now; empty when it can."""
        if step.quantity is Quantity.LOOP and not self._transmit:
            return NO_LEAVE_TO_SEND
        return self._gates.why_not(self.board, step)

    def power_blockers(self) -> list[str]:
        """Why the supply may not be switched on; empty when it may."""
        return self._gates.power_blockers(self.board)

    # --- diagnosis --------------------------------------------------------------------------------------------

    def _drive(self, diagnosing: Generator[Request, Reading, T]) -> T:
        """Answer the probes that a diagnosis asks for, and record them as follow-ups."""
        try:
            request = next(diagnosing)
            while True:
                try:
                    reading = self._asker.answer(request)
                except SkipAsked as skipped:
                    reading = Reading.none(f"left out by {self._who}: {skipped.reason}")
                except BackAsked:
                    continue  # a probe beside the plan has none before it: asked once more
                body = follow_up_body(request, reading, question="where does the conductor go, or the drop lie?")
                self._record.append(EventKind.READING, body, who=self._who)
                request = diagnosing.send(reading)
        except StopIteration as stop:
            found: T = stop.value
            return found

    def _open(self, squawks: Sequence[Squawk], stage: Stage) -> None:
        """Open what is new, close what a later reading has cleared."""
        found = {squawk.id for squawk in squawks}
        told = {step for squawk in squawks for step in squawk.steps}
        known = [*self.board.squawks, *self.board.accepted]
        for old in known:
            cleared = all(s not in self.plan.by_id or self.board.outcome(s) is Outcome.PASS for s in old.steps)
            if old.stage == stage.value and old.id not in found and (cleared or set(old.steps) <= told):
                by = "told anew by another squawk" if not cleared else f"{len(old.steps)} later readings"
                self._record.append(EventKind.SQUAWK_CLOSED, {"id": old.id, "by": by}, who=self._who)
        for squawk in squawks:
            if squawk.id not in {old.id for old in known}:
                self._record.append(EventKind.SQUAWK_OPENED, squawk.to_json(), who=self._who)
                self._progress(f"  squawk: {squawk.text}")
        self._refold()

    # --- record -----------------------------------------------------------------------------------------------

    def _refold(self) -> None:
        folded = fold(self.plan, self._record.events())
        self._in_force = InForce(self.plan, folded.results)
        self.board = replace(folded, results=self._in_force.by_step)

    def _skip(self, step: Step, why: str, reason: str = "skipped") -> Result:
        self._record.append(EventKind.SKIPPED, {"step": step.id, "reason": why}, who=self._who)
        self._mark(step, "step_skipped", {"reason": reason, "why": why})
        result = Result(step, Reading.none(why), Verdict(Outcome.SKIPPED, reason, why))
        self._in_force.take(replace(result, step=step))
        self._watcher.result(result)
        return result

    def _mark(self, step: Step, kind: str, body: dict[str, object]) -> None:
        """Noted in the capture of the live stage, so that a replay judges the same steps at the same moments."""
        if self._capture is not None and step.stage is Stage.LIVE:
            self._capture.mark(kind, self._stamp_ns(), {"step": step.id, **body})

    def _state_confirmed(self, state: BenchState, changes: tuple[str, ...]) -> None:
        body = {"state": state.to_json(), "changes": list(changes), "simulated": self._operator.simulated}
        self._record.append(EventKind.STATE, body, who=self._who)

    def _leads_zeroed(self, zero: LeadZero, meter: str) -> None:
        self._record.append(EventKind.LEAD_ZERO, {**zero.to_json(), "meter": meter}, who=self._who)

    def _contact_lost(self, again: Mapping[str, str]) -> None:
        """Steps whose readings don't count: recorded, so that they are due again."""
        reason = next(iter(again.values()))
        body = {"contacts": [], "runs": [], "connectors": [], "reason": reason, "again": dict(again)}
        self._record.append(EventKind.REWORK, body, who=self._who)
        self._progress(f"  {len(again)} to do again: {reason}")
        self._refold()

    def _power_off_read(self, red: str, black: str, reading: Reading, near_zero: bool) -> None:
        verdict = Verdict(
            Outcome.PASS if near_zero else Outcome.FAIL,
            "near_zero" if near_zero else "live",
            f"{reading.text} before ohms" if near_zero else f"{reading.text}: no ohms here",
        )
        limit_v = self.harness.limits.near_zero_v
        body = follow_up_body(
            Request(Quantity.VOLTS, ALL_OPEN, red, black),
            reading,
            question=f"is the power off between {red} and {black} before ohms are measured?",
            verdict=verdict,
            band=Band(-limit_v, limit_v, "V", "profile limit near_zero_v"),
        )
        self._record.append(EventKind.READING, body, who=self._who)


def _with_units(step: Step) -> bool:
    """Whether a step of the power stage is done with the units in, once every contact of theirs is proved."""
    return bool(step.state.on_unit) and step.check not in GATE_CHECKS
