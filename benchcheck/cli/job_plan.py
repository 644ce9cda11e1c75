"""The plan of a job, for commands that look at its record: the profile it names, for the meter of its bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchcheck.cli.output import say
from benchcheck.words.errors import BenchcheckError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from benchcheck.harness.model import Harness
    from benchcheck.plan.plan import Plan
    from benchcheck.record.store import JobRecord
    from benchcheck.words.event import Event
    from benchcheck.words.meter import MeterSpec
    from benchcheck.words.ways import Ways


def ways_of(events: Sequence[Event]) -> Ways:
    """The ways that were chosen when a job was started. InputError where it names one that is not known here."""
    from benchcheck.words.errors import InputError
    from benchcheck.words.event import EventKind
    from benchcheck.words.ways import Ways

    body = events[0].body if events and events[0].kind == EventKind.JOB_STARTED else {}
    try:
        return Ways.from_json(body.get("ways"))
    except ValueError as error:
        raise InputError(
            f"this job was started for a plan of another kind: {error}",
            hint="A newer version of benchcheck may know it.",
        ) from error


def plan_of(profile: str, ways: Ways | None = None) -> tuple[Harness, Plan]:
    """Harness and plan of a profile, given by path or name. Raises the errors of the profile."""
    from benchcheck.plan.plan import make_plan
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile

    folder = find_profile(profile)
    harness = load_profile(folder)
    return harness, make_plan(harness, meter_for(folder), ways)


def meter_for(folder: Path) -> MeterSpec:
    """The meter of the bench that is described for a profile, an ordinary one where none is."""
    from benchcheck.cli.bench_file import find_bench
    from benchcheck.words.meter import MeterSpec

    try:
        return find_bench(None, folder)[0].meter_spec
    except BenchcheckError:
        return MeterSpec()  # what is wrong with that file is said where it is used


def plan_if_readable(profile: str, what: str, events: Sequence[Event]) -> tuple[Harness | None, Plan | None]:
    """The same, in the ways of the job that has these events; nothing where the profile is gone or faulty, which is said: `what` then shows no plan."""
    try:
        return plan_of(profile, ways_of(events))
    except BenchcheckError as error:
        say(f"Note: the job's profile can't be read ({error.text}); {what} shows what was recorded, and no plan.")
        return None, None


def pending_change(events: Sequence[Event], harness: Harness | None, plan: Plan | None, profile: str) -> dict[str, str]:
    """Step -> why it must be done again for a change of the profile that came after the last event; for commands that
    only look. Nothing where the profile is the same, or can't be read."""
    from benchcheck.jobs.profile_change import changed_since
    from benchcheck.profile.find import find_profile

    if harness is None or plan is None or not events or harness.digest in ("", events[-1].profile):
        return {}
    meter = meter_for(find_profile(profile))
    return dict(changed_since(events, harness, plan, meter, ways_of(events)).again)


def plan_to_record(record: JobRecord, who: str) -> tuple[Harness, Plan]:
    """Harness and plan of a job that is open for writing, after recording what changed in its profile, which is said.

    Raises the errors of the profile.
    """
    from benchcheck.jobs.profile_change import take_profile
    from benchcheck.plan.plan import make_plan
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_with_files
    from benchcheck.report.facts import facts_of

    events = record.events()
    folder = find_profile(facts_of(events).profile)
    harness, contents = load_with_files(folder)
    ways, meter = ways_of(events), meter_for(folder)
    plan = make_plan(harness, meter, ways)
    for note in take_profile(record, harness, plan, contents, meter=meter, ways=ways, who=who):
        say(f"benchcheck: {note}")
    return harness, plan
