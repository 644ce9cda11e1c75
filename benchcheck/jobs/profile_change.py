"""A job and its profile: the files are kept in the record, and what changed in them since puts steps back to be done.

Called whenever a job is opened for writing, before anything else is recorded, so that every event after it is of the
profile as it is now.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from benchcheck.harness.difference.compare import Difference, How
from benchcheck.harness.difference.words import cosmetic_lines, matter_lines
from benchcheck.harness.model import Harness
from benchcheck.plan.plan import Plan
from benchcheck.profile.kept import harness_of
from benchcheck.readiness.board import fold
from benchcheck.readiness.due_again import DueAgain, due_after_unknown, due_again
from benchcheck.record.kept_profile import is_kept, kept_body, kept_files
from benchcheck.record.store import JobRecord
from benchcheck.words.errors import BenchcheckError
from benchcheck.words.event import Event, EventKind
from benchcheck.words.meter import MeterSpec
from benchcheck.words.quantity import counted
from benchcheck.words.ways import Ways

MOST_LINES = 200  # of what changed, in one event
SHOWN_LINES = 6  # of them to the person


def keep_profile(record: JobRecord, harness: Harness, contents: Mapping[str, bytes], *, who: str) -> None:
    """Keep the files of a profile in the record, where it does not hold this version of them yet."""
    if not is_kept(record.events(), harness.digest):
        body = kept_body(harness.digest, harness.name, contents)
        record.append(EventKind.PROFILE_KEPT, body, who=who, profile=harness.digest)


def take_profile(
    record: JobRecord,
    harness: Harness,
    plan: Plan,
    contents: Mapping[str, bytes],
    *,
    meter: MeterSpec,
    ways: Ways,
    who: str,
) -> tuple[str, ...]:
    """Record that the profile is another one than the job was last worked on with, and keep its files.

    harness, plan  as the profile is now, at its own ambient temperature
    meter, ways    those that the plan was made for, and in

    Gives what the person should hear of it; nothing where it is the same.
    """
    events = record.events()
    notes: tuple[str, ...] = ()
    if events[-1].profile != harness.digest:
        due = changed_since(events, harness, plan, meter, ways)
        # first what changed: were the program to end after keeping alone, nobody would ask for it any more
        body = changed_body(events[-1].profile, harness.digest, due)
        record.append(EventKind.PROFILE_CHANGED, body, who=who, profile=harness.digest)
        board = fold(due.before or plan, events)
        notes = _notes(sum(name in board.results or name in board.waived for name in due.again), due)
    keep_profile(record, harness, contents, who=who)
    return notes


def changed_since(events: Sequence[Event], harness: Harness, plan: Plan, meter: MeterSpec, ways: Ways) -> DueAgain:
    """What became of the steps since the profile that the last event names. Where the record doesn't hold that one
    whole, every step that rests on more than its own two contacts is due again."""
    try:
        kept = kept_files(events, events[-1].profile)
        if kept is None:
            return due_after_unknown(plan)
        return due_again(harness_of(*kept, events[-1].profile), harness, meter=meter, ways=ways)
    except BenchcheckError:  # kept, but not to be read or planned by this version
        return due_after_unknown(plan)


def changed_body(old: str, new: str, due: DueAgain) -> dict[str, object]:
    """The body of `profile.changed`."""
    found = due.found
    matters, cosmetic = (matter_lines(found), cosmetic_lines(found)) if found is not None else ([], [])
    return {
        "old": old,
        "new": new,
        "known": found is not None,
        "runs": _runs(found or Difference()),
        "lines": _capped(matters),
        "cosmetic": _capped(cosmetic),
        "again": dict(due.again),
        "new_steps": len(due.new),
        "gone_steps": len(due.gone),
    }


def _runs(found: Difference) -> dict[str, object]:
    """Wire numbers; a run of which only the label changed is not among them."""
    changed = [change.name for change in found.of("run", How.CHANGED) if change.matters]
    return {
        "added": [change.name for change in found.of("run", How.ADDED)],
        "removed": [change.name for change in found.of("run", How.REMOVED)],
        "changed": changed,
        "renumbered": {change.name: change.former for change in found.of("run", How.RENUMBERED)},
    }


def _capped(lines: Sequence[str]) -> list[str]:
    more = len(lines) - MOST_LINES
    return [*lines[:MOST_LINES], f"and {more} more"] if more > 0 else list(lines)


def _notes(had: int, due: DueAgain) -> tuple[str, ...]:
    found = due.found
    if found is None:
        return (
            "warning: the profile has been changed since this job was last worked on, and how it was is not in the "
            f"record: {counted(had, 'step')} that rest on whole nets are due again",
        )
    lines = matter_lines(found)
    if not lines:
        return ("note: only notes, colours, zones or titles of the profile were changed: nothing is due again",)
    shown = [f"  {line}" for line in lines[:SHOWN_LINES]]
    if len(lines) > SHOWN_LINES:
        shown.append(f"  and {len(lines) - SHOWN_LINES} more, in the report")
    return (
        "warning: the profile has been changed since this job was last worked on:",
        *shown,
        f"  {counted(had, 'step')} due again, {len(due.new)} new, {len(due.gone)} fallen away; the other verdicts stand",
    )
