"""A job opened for work: its profile, its bench, its record, and the session around them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from benchcheck.bench.bench import Bench
from benchcheck.bench.clock import Clock
from benchcheck.checks.kind import Context
from benchcheck.cli.bench_file import find_bench
from benchcheck.cli.job_plan import ways_of
from benchcheck.harness.model import Harness
from benchcheck.jobs.ambient import ask_ambient, parse_ambient, said_on
from benchcheck.jobs.asked import Person
from benchcheck.jobs.by_hand import ByHand, Following, person_at
from benchcheck.jobs.by_matrix import ByMatrix
from benchcheck.jobs.listening.capture_file import PartLimits
from benchcheck.jobs.operator import Operator, SimulatedOperator
from benchcheck.jobs.profile_change import take_profile
from benchcheck.jobs.runner import Progress, Watcher
from benchcheck.jobs.session import Session
from benchcheck.plan.ambient import plan_at
from benchcheck.plan.plan import Plan, make_plan
from benchcheck.profile.find import find_profile
from benchcheck.profile.load import load_with_files
from benchcheck.readiness.board import Board, fold
from benchcheck.record.store import JobRecord
from benchcheck.words.errors import InputError
from benchcheck.words.event import EventKind


@dataclass
class OpenedJob:
    """What a command or a screen works with; `notes` are what the person should hear first."""

    path: Path
    who: str
    harness: Harness
    plan: Plan
    context: Context
    bench: Bench
    bench_source: str
    record: JobRecord
    notes: tuple[str, ...]
    ambient_said_by: str = ""

    def set_ambient(self, ambient_c: float, by: str) -> None:
        """From here on limits are those of this temperature; `by` is who said it."""
        self.plan = plan_at(self.plan, self.harness, ambient_c, self.context.meter, self.context.ways)
        self.harness = replace(self.harness, ambient_c=ambient_c)
        self.context = Context(self.harness, self.context.meter, self.context.ways)
        self.ambient_said_by = by

    def settle_ambient(self, given: str | None, person: Person | None) -> str:
        """The temperature of the day: as given, as said already today, as the person says, or the profile's; in words.

        Once, before a session is made. InputError where what was given is none; StopAsked where the person leaves.
        """
        profile_c = self.harness.ambient_c
        if given is not None:
            self.set_ambient(parse_ambient(given), self.who)
        elif said := said_on(self.record.events(), self.bench.clock.utc()[:10]):
            self.set_ambient(*said)
        elif person is not None and (asked := ask_ambient(person, profile_c)) is not None:
            self.set_ambient(asked, self.who)
        by = f"said by {self.ambient_said_by}" if self.ambient_said_by else "as the profile says"
        return f"ambient: {self.harness.ambient_c:g} C, {by}"

    def board(self) -> Board:
        """What the record says now."""
        return fold(self.plan, self.record.events())

    @property
    def simulated(self) -> bool:
        """Whether a simulated bench moves things by itself, so that nobody is asked."""
        return self.bench.config.hands is not None

    def session(
        self,
        person: Person,
        *,
        progress: Progress,
        watcher: Watcher | None = None,
        capture: Path | None = None,
        capture_parts: PartLimits | None = None,
        acknowledge: bool = False,
        transmit: bool = False,
    ) -> tuple[Session, ByHand]:
        """A session with a person at this bench, not begun yet. Opens the hands of a simulated bench."""
        by_hand, meter, supply = person_at(self.bench, self.harness, person, self.who)
        hands = self.bench.hands
        operator: Operator = SimulatedOperator(hands) if hands is not None else by_hand
        matrix, port = self.bench.matrix, self.bench.config.matrix
        if matrix is not None and port is not None and hands is None:
            operator = ByMatrix(
                matrix,
                by_hand,
                self.harness.chassis,
                self.context.meter,
                self.bench.clock,
                unattended=port.unattended,
            )
        session = Session(
            self.harness,
            self.plan,
            self.context,
            self.bench,
            operator,
            self.record,
            who=self.who,
            progress=progress,
            capture=capture,
            capture_parts=capture_parts,
            acknowledge=acknowledge,
            transmit=transmit,
            meter=meter,
            supply=supply,
            watcher=Following(by_hand, watcher or Watcher()),
            ambient_said_by=self.ambient_said_by,
        )
        return session, by_hand


@contextmanager
def opened_job(path: Path, *, bench: Path | None, who: str, clock: Clock | None = None) -> Iterator[OpenedJob]:
    """Open a job for writing, with the profile that it names and the bench that is described.

    Everything is read and checked before a port is opened. Raises the errors of profile, bench file and record.
    """
    with JobRecord.open(path) as reading:
        started = reading.events()[0]
    if started.kind != EventKind.JOB_STARTED:
        raise InputError(
            "this job does not begin with its start", where=str(path), hint="`benchcheck job verify` says more."
        )
    profile = str(started.body.get("profile", ""))
    try:
        folder = find_profile(profile)
    except InputError as error:
        raise InputError(
            f"the profile of this job is not there: {profile}",
            where=str(path),
            hint="Put the folder back where it was when the job was started.",
        ) from error
    harness, contents = load_with_files(folder)
    notes = [f"note: {note}" for note in harness.notes]
    config, source = find_bench(bench, folder)
    ways = ways_of([started])
    context = Context(harness, config.meter_spec, ways)
    with (
        Bench(config, clock) as opened,
        JobRecord.open(path, clock=opened.clock, who=who) as record,
    ):
        plan = make_plan(harness, config.meter_spec, ways)
        notes += take_profile(record, harness, plan, contents, meter=config.meter_spec, ways=ways, who=who)
        yield OpenedJob(path, who, harness, plan, context, opened, source, record, tuple(notes))
