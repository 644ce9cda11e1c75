"""What a job records of its profile when it is opened; replayed from the events alone."""

from __future__ import annotations

from dataclasses import replace

from model_bench import MemoryRecord, job_on
from proved_job import FILES, HARNESS, PLAN, WHO, proved

from benchcheck.checks.kind import Context
from benchcheck.harness.model import Harness
from benchcheck.jobs.profile_change import MOST_LINES, changed_body, take_profile
from benchcheck.plan.plan import Plan, make_plan
from benchcheck.profile.load import digest_of
from benchcheck.readiness.board import fold
from benchcheck.readiness.due_again import DueAgain, due_again
from benchcheck.words.errors import ExitCode
from benchcheck.words.event import EventKind
from benchcheck.words.meter import MeterSpec
from benchcheck.words.step import Stage
from benchcheck.words.ways import Ways


def swapped() -> tuple[Harness, Plan, dict[str, bytes]]:
    pins = FILES["pins.csv"].replace(b"W8,P1-3", b"W8,P1-x").replace(b"W9,P1-4", b"W9,P1-3").replace(b"P1-x", b"P1-4")
    contents = {**FILES, "pins.csv": pins}
    runs = tuple(
        replace(run, a={"W8": "P1-4", "W9": "P1-3"}[run.wire]) if run.wire in ("W8", "W9") else run
        for run in HARNESS.runs
    )
    new = replace(HARNESS, runs=runs, digest=digest_of(contents))
    return new, make_plan(new), contents


def take(record: MemoryRecord, harness: Harness, plan: Plan, contents: dict[str, bytes]) -> tuple[str, ...]:
    return take_profile(record, harness, plan, contents, meter=MeterSpec(), ways=Ways(), who=WHO)  # type: ignore[arg-type]


def test_the_same_profile_is_kept_once_and_said_nothing_of() -> None:
    record = proved().record
    before = len(record.events())
    assert take(record, HARNESS, PLAN, FILES) == ()
    assert len(record.events()) == before
    assert len(record.bodies(EventKind.PROFILE_KEPT)) == 1


def test_what_changed_is_recorded_before_the_new_files_are_kept() -> None:
    record = proved().record
    new, plan, contents = swapped()
    notes = take(record, new, plan, contents)
    changed, kept = record.events()[-2:]
    assert (changed.kind, kept.kind) == (EventKind.PROFILE_CHANGED, EventKind.PROFILE_KEPT)
    assert changed.profile == kept.profile == new.digest
    assert (changed.body["old"], changed.body["new"], changed.body["known"]) == (HARNESS.digest, new.digest, True)
    assert changed.body["runs"] == {"added": [], "removed": [], "changed": ["W8", "W9"], "renumbered": {}}
    assert changed.body["again"] == due_again(HARNESS, new).again
    assert notes[1] == "  runs W8 and W9: exchanged at P1-3 and P1-4"
    assert take(record, new, plan, contents) == ()


def test_only_the_right_steps_are_asked_again_and_a_replay_says_the_same() -> None:
    made = proved()
    new, plan, contents = swapped()
    take(made.record, new, plan, contents)
    board = fold(plan, made.record.events())
    due = due_again(HARNESS, new)
    for step in plan.of_stage(Stage.DEAD):
        to_do = step.id in due.again or step.id in due.new
        assert (board.outcome(step.id) is None) is to_do, step.id
    again = job_on(new, plan, Context(new, MeterSpec()), record=made.record)
    before = len(made.record.bodies(EventKind.READING))
    again.run([Stage.DEAD])
    read = [body["step"] for body in made.record.bodies(EventKind.READING)[before:] if not body["follow_up"]]
    assert set(read) == {step.id for step in plan.of_stage(Stage.DEAD)} & {*due.again, *due.new}
    assert again.runner.board.exit_code([Stage.DEAD]) is ExitCode.PASS
    assert fold(plan, made.record.events()).results.keys() == again.runner.board.results.keys()


def test_a_list_of_changes_without_end_is_cut() -> None:
    runs = tuple(replace(run, wire=f"{run.wire}x{n}") for n in range(30) for run in HARNESS.runs)
    body = changed_body("o", "n", due_again_of(replace(HARNESS, runs=runs)))
    lines = body["lines"]
    assert isinstance(lines, list)
    assert len(lines) == MOST_LINES + 1
    assert lines[-1].startswith("and ")


def due_again_of(new: Harness) -> DueAgain:
    from benchcheck.harness.difference.compare import difference

    return DueAgain(found=difference(HARNESS, new))
