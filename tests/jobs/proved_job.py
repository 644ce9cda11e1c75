"""A starter job of which the dead stage is done, with its profile kept: what the tests of changes begin with."""

from __future__ import annotations

from model_bench import PROFILES, Job, MemoryRecord, job_on, shipped

from benchcheck.jobs.profile_change import keep_profile
from benchcheck.profile.load import load_with_files
from benchcheck.words.errors import ExitCode
from benchcheck.words.event import Event, EventKind
from benchcheck.words.step import Stage

HARNESS, PLAN, CONTEXT = shipped("starter")
_, FILES = load_with_files(PROFILES / "starter")
WHO = "Ann Example"


class DigestRecord(MemoryRecord):
    """Carries the profile's digest from event to event, as a job record does."""

    def append(self, kind: str, body: object, *, who: str, profile: str = "") -> Event:
        before = self._events[-1].profile if self._events else ""
        return super().append(kind, body, who=who, profile=profile or before)  # type: ignore[arg-type]


def proved() -> Job:
    """A job of which the dead stage is done, with its profile kept."""
    record = DigestRecord()
    record.append(EventKind.JOB_STARTED, {"title": "t"}, who=WHO, profile=HARNESS.digest)
    keep_profile(record, HARNESS, FILES, who=WHO)  # type: ignore[arg-type]
    made = job_on(HARNESS, PLAN, CONTEXT, record=record)
    made.run([Stage.DEAD])
    assert made.runner.board.exit_code([Stage.DEAD]) is ExitCode.PASS
    return made
