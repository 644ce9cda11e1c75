"""What the events say: verdicts in force, what is next, what a command answers."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from model_bench import ALL_STAGES, MemoryRecord, shipped

from benchcheck.readiness.board import Board, connector_rows, fold, squawk_from_json, touched
from benchcheck.words.errors import ExitCode
from benchcheck.words.event import Event, EventKind
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.squawk import Squawk, SquawkKind
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

HARNESS, PLAN, _ = shipped("starter")
STEP = "continuity:W1"
SQUAWK = Squawk(SquawkKind.OPEN_RUN, ("W1",), "dead", "W1 is open", (STEP,), ({"step": STEP, "value": None},))


def reading(step: str, outcome: str, *, follow_up: bool = False, state: str = "value") -> tuple[str, dict[str, object]]:
    return EventKind.READING, {
        "step": step,
        "reading": {"state": state, "unit": "ohm", "value": None if state != "value" else 1.0},
        "verdict": {"outcome": outcome, "reason": "r", "text": "t"},
        "follow_up": follow_up,
    }


def skipped(step: str) -> tuple[str, dict[str, object]]:
    return EventKind.SKIPPED, {"step": step, "reason": "no power"}


def waiver(what: str, of: str = "step") -> tuple[str, dict[str, object]]:
    return EventKind.WAIVER, {of: what, "reason": "accepted"}


def board(*events: tuple[str, dict[str, object]]) -> Board:
    record = MemoryRecord()
    record.append(EventKind.JOB_STARTED, {"title": "t"}, who="Ann Example")
    for kind, body in events:
        record.append(kind, body, who="Ann Example")
    return fold(PLAN, record.events())


def everything(outcome: str = "PASS") -> list[tuple[str, dict[str, object]]]:
    return [reading(step.id, outcome) for step in PLAN.steps]


# --- fold ----------------------------------------------------------------------------------------------------------


def test_nothing_done_yet() -> None:
    empty = board()
    assert empty.outcome(STEP) is None
    assert empty.todo() == list(PLAN.steps)
    assert empty.next_step() is PLAN.steps[0]
    assert empty.squawks == ()


def test_the_last_reading_is_in_force() -> None:
    assert board(reading(STEP, "FAIL"), reading(STEP, "PASS")).outcome(STEP) is Outcome.PASS
    assert board(reading(STEP, "PASS"), reading(STEP, "FAIL")).outcome(STEP) is Outcome.FAIL
    assert board(skipped(STEP), reading(STEP, "UNSURE")).outcome(STEP) is Outcome.UNSURE
    assert board(reading(STEP, "PASS"), skipped(STEP)).outcome(STEP) is Outcome.SKIPPED


def test_a_result_holds_step_reading_and_verdict() -> None:
    result = board(reading(STEP, "FAIL", state="over")).results[STEP]
    assert result.step is PLAN.by_id[STEP]
    assert result.reading.state is ReadingState.OVER
    assert (result.verdict.reason, result.verdict.text) == ("r", "t")


def test_probes_beside_the_plan_are_no_verdicts() -> None:
    assert board(reading(STEP, "PASS", follow_up=True)).outcome(STEP) is None


def test_steps_that_the_plan_no_longer_has_are_passed_over() -> None:
    assert board(reading("continuity:W999", "FAIL"), skipped("gone"), reading(STEP, "PASS")).results.keys() == {STEP}


def test_events_of_other_kinds_are_passed_over() -> None:
    others = [(kind, {}) for kind in ("session.started", "state.confirmed", "something.new")]
    assert board(*others).results == {}


def test_squawks_open_and_close() -> None:
    opened = board((EventKind.SQUAWK_OPENED, SQUAWK.to_json()))
    assert list(opened.squawks) == [SQUAWK]
    closed = board((EventKind.SQUAWK_OPENED, SQUAWK.to_json()), (EventKind.SQUAWK_CLOSED, {"id": SQUAWK.id, "by": "x"}))
    assert list(closed.squawks) == []
    assert list(board((EventKind.SQUAWK_CLOSED, {"id": "never opened"})).squawks) == []


def test_a_squawk_comes_back_whole_from_its_json() -> None:
    assert squawk_from_json(SQUAWK.to_json()) == SQUAWK


def test_a_waived_squawk_is_not_open() -> None:
    assert not board((EventKind.SQUAWK_OPENED, SQUAWK.to_json()), waiver(SQUAWK.id, "squawk")).squawks


# --- what is left --------------------------------------------------------------------------------------------------


def test_todo_is_what_has_not_passed_and_was_not_waived() -> None:
    first, second, third, fourth = (step.id for step in PLAN.steps[:4])
    left = board(reading(first, "PASS"), reading(second, "FAIL"), skipped(third), waiver(fourth)).todo()
    ids = [step.id for step in left]
    assert first not in ids
    assert fourth not in ids
    assert ids[:2] == [second, third]
    assert ids[2:] == [step.id for step in PLAN.steps[4:]]


def test_next_is_what_was_never_tried_then_what_did_not_pass() -> None:
    first, second = (step.id for step in PLAN.steps[:2])
    tried = board(reading(first, "FAIL"))
    assert tried.next_step() is PLAN.by_id[second]
    all_but_one = board(*everything(), reading(second, "FAIL"))
    assert all_but_one.next_step() is PLAN.by_id[second]
    assert board(*everything()).next_step() is None


def test_next_of_a_stage() -> None:
    step = board().next_step(Stage.LIVE)
    assert step is PLAN.of_stage(Stage.LIVE)[0]


def test_counts() -> None:
    first, second, third, fourth = (step.id for step in PLAN.of_stage(Stage.DEAD)[:4])
    counts = board(
        reading(first, "PASS"), reading(second, "FAIL"), skipped(third), reading(fourth, "UNSURE"), waiver(third)
    ).counts(Stage.DEAD)
    total = len(PLAN.of_stage(Stage.DEAD))
    assert counts == {"PASS": 1, "FAIL": 1, "UNSURE": 1, "SKIPPED": 0, "waived": 1, "todo": total - 4}


# --- put back --------------------------------------------------------------------------------------------------------


def rework(*steps: str) -> tuple[str, dict[str, object]]:
    again = dict.fromkeys(steps, "P1-1")
    return EventKind.REWORK, {"contacts": ["P1-1"], "runs": [], "connectors": [], "reason": "bent", "again": again}


def changed(*steps: str) -> tuple[str, dict[str, object]]:
    return EventKind.PROFILE_CHANGED, {"old": "o", "new": "n", "again": dict.fromkeys(steps, "W1 was changed")}


@pytest.mark.parametrize("put_back", [rework, changed])
@pytest.mark.parametrize("outcome", ["PASS", "FAIL", "UNSURE"])
def test_what_is_due_again_has_no_verdict(outcome: str, put_back: Callable[..., tuple[str, dict[str, object]]]) -> None:
    other = PLAN.steps[3].id
    done = board(reading(STEP, outcome), reading(other, "PASS"), put_back(STEP, "continuity:W999"))
    assert done.outcome(STEP) is None
    assert done.outcome(other) is Outcome.PASS
    assert PLAN.by_id[STEP] in done.todo()
    assert list(done.due_again) == [STEP]
    assert done.due_again[STEP] in ("P1-1 was reworked: P1-1", "the pin table was changed: W1 was changed")
    again = board(reading(STEP, outcome), put_back(STEP), reading(STEP, "PASS"))
    assert again.outcome(STEP) is Outcome.PASS
    assert again.due_again == {}


def test_what_had_no_verdict_is_to_do_as_before() -> None:
    assert board(rework(STEP)).due_again == {}
    assert board(rework(STEP), reading(STEP, "PASS")).outcome(STEP) is Outcome.PASS


def test_a_waiver_falls_with_the_verdict_and_a_squawk_is_open_again() -> None:
    assert board(*everything(), reading(STEP, "FAIL"), waiver(STEP), rework(STEP)).waived == {}
    opened = (EventKind.SQUAWK_OPENED, SQUAWK.to_json())
    accepted = board(*everything(), reading(STEP, "FAIL"), opened, waiver(SQUAWK.id, "squawk"))
    assert not accepted.squawks
    back = board(*everything(), reading(STEP, "FAIL"), opened, waiver(SQUAWK.id, "squawk"), rework(STEP))
    assert list(back.squawks) == [SQUAWK]
    assert back.waived == {}


def test_a_skip_after_a_failure_that_was_worked_on_is_a_skip() -> None:
    assert board(reading(STEP, "FAIL"), rework(STEP), skipped(STEP)).outcome(STEP) is Outcome.SKIPPED


def test_a_rework_that_names_no_steps_puts_back_what_names_it_by_the_plan_alone() -> None:
    told = (EventKind.REWORK, {"runs": ["W1"], "connectors": [], "reason": "new crimp"})
    left = board(*everything(), told)
    assert left.outcome(STEP) is None
    assert left.outcome("continuity:W9") is Outcome.PASS
    feeds = [step.id for step in PLAN.steps if step.check == "feed_volts" and step.red == "P1-1"]
    assert feeds
    assert all(left.outcome(name) is None for name in feeds)
    connector = board(*everything(), (EventKind.REWORK, {"connectors": ["P2"], "reason": "opened"}))
    assert all(connector.outcome(step.id) is None for step in PLAN.steps if "P2" in touched(step))
    contact = board(*everything(), (EventKind.REWORK, {"contacts": ["P1-3"], "reason": "pulled"}))
    assert contact.outcome("continuity:W8") is None
    assert contact.outcome(STEP) is Outcome.PASS


# --- exit codes ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("last", "code"),
    [
        ([], ExitCode.PASS),
        ([reading(STEP, "FAIL")], ExitCode.FAIL),
        ([reading(STEP, "UNSURE")], ExitCode.UNSURE),
        ([skipped(STEP)], ExitCode.UNSURE),
        ([skipped(STEP), waiver(STEP)], ExitCode.PASS),
        ([reading(STEP, "UNSURE"), waiver(STEP)], ExitCode.PASS),
        ([reading(STEP, "UNSURE"), reading("continuity:W2", "FAIL")], ExitCode.FAIL),
        ([(EventKind.SQUAWK_OPENED, SQUAWK.to_json())], ExitCode.FAIL),
        ([(EventKind.SQUAWK_OPENED, SQUAWK.to_json()), waiver(SQUAWK.id, "squawk")], ExitCode.PASS),
        ([reading(STEP, "PASS", state="none", follow_up=True)], ExitCode.PASS),
    ],
)
def test_exit_codes(last: Sequence[tuple[str, dict[str, object]]], code: ExitCode) -> None:
    assert board(*everything(), *last).exit_code(ALL_STAGES) is code


def test_a_step_that_was_not_done_is_unsure() -> None:
    assert board(*everything()[:-1]).exit_code(ALL_STAGES) is ExitCode.UNSURE
    assert board().exit_code(ALL_STAGES) is ExitCode.UNSURE


def test_only_the_stages_that_were_asked_for_count() -> None:
    found = board(*everything(), reading(STEP, "FAIL"), (EventKind.SQUAWK_OPENED, SQUAWK.to_json()))
    assert found.exit_code([Stage.POWER, Stage.LIVE]) is ExitCode.PASS
    assert found.exit_code([Stage.DEAD]) is ExitCode.FAIL


# --- connectors ----------------------------------------------------------------------------------------------------


def test_stages_of_a_connector() -> None:
    assert board().stage_of_connector("P1", Stage.DEAD) == "todo"
    done = everything()
    assert board(*done).stage_of_connector("P1", Stage.DEAD) == "pass"
    assert board(*done, reading(STEP, "FAIL")).stage_of_connector("P1", Stage.DEAD) == "fail"
    assert board(*done, reading(STEP, "UNSURE")).stage_of_connector("P1", Stage.DEAD) == "unsure"
    assert board(*done, skipped(STEP)).stage_of_connector("P1", Stage.DEAD) == "unsure"
    assert board(*done, skipped(STEP), waiver(STEP)).stage_of_connector("P1", Stage.DEAD) == "pass"
    assert board(*done, reading(STEP, "FAIL")).stage_of_connector("P2", Stage.DEAD) == "pass"  # W1 doesn't go there
    assert board().stage_of_connector("P99", Stage.DEAD) == "none"


def test_a_fail_shows_before_what_is_still_to_do() -> None:
    assert board(reading(STEP, "FAIL")).stage_of_connector("P1", Stage.DEAD) == "fail"


def test_what_a_step_touches() -> None:
    assert touched(PLAN.by_id[STEP]) >= {"TB1", "P1"}
    lifted = shipped("survey_launch")[1].by_id["continuity:W202"]
    assert touched(lifted) >= {"GND1", "GND2"}  # the lug W202@GND2 is at GND2


def test_one_row_a_connector() -> None:
    rows = connector_rows(HARNESS, board(*everything()))
    assert [row.ref for row in rows] == list(HARNESS.connectors)
    for row in rows:
        assert [stage for stage, _ in row.stages] == list(ALL_STAGES)
        assert {word for _, word in row.stages} <= {"pass", "none"}


# --- any history -----------------------------------------------------------------------------------------------------

STEP_IDS = [step.id for step in PLAN.steps]
any_event = st.one_of(
    st.builds(
        reading,
        st.sampled_from(STEP_IDS[:6]),
        st.sampled_from(["PASS", "FAIL", "UNSURE"]),
        follow_up=st.booleans(),
        state=st.sampled_from(["value", "over"]),
    ),
    # what a check says of no reading: UNSURE, never anything else
    st.builds(reading, st.sampled_from(STEP_IDS[:6]), st.just("UNSURE"), state=st.just("none")),
    st.builds(skipped, st.sampled_from(STEP_IDS[:6])),
    st.builds(waiver, st.sampled_from(STEP_IDS[:6])),
    st.just((EventKind.SQUAWK_OPENED, SQUAWK.to_json())),
    st.just((EventKind.SQUAWK_CLOSED, {"id": SQUAWK.id, "by": "x"})),
    st.just((EventKind.STATE, {})),
)


def plainly(events: Sequence[tuple[str, dict[str, object]]]) -> dict[str, str]:
    """The last word on each step, by a plain walk: a FAIL stands until a reading settles it."""
    last: dict[str, str] = {}
    for kind, body in events:
        word = ""
        if kind == EventKind.READING and not body["follow_up"]:
            word = str(body["verdict"]["outcome"])  # type: ignore[index]
        elif kind == EventKind.SKIPPED:
            word = "SKIPPED"
        if word and not (last.get(str(body["step"])) == "FAIL" and word in ("UNSURE", "SKIPPED")):
            last[str(body["step"])] = word
    return last


@settings(max_examples=80, deadline=None)
@given(st.lists(any_event, max_size=25))
def test_any_history(events: list[tuple[str, dict[str, object]]]) -> None:
    found = board(*events)
    assert {step: result.outcome.value for step, result in found.results.items()} == plainly(events)
    for result in found.results.values():
        if result.reading.state is ReadingState.NONE:
            assert result.outcome in (Outcome.UNSURE, Outcome.SKIPPED)  # nothing read proves nothing
    for stage in ALL_STAGES:
        assert sum(found.counts(stage).values()) == len(PLAN.of_stage(stage))
    if found.exit_code(ALL_STAGES) is ExitCode.PASS:
        assert all(found.passed(step) for step in PLAN.steps)
    done = {step.id for step in PLAN.steps} - {step.id for step in found.todo()}
    assert done == {s for s in STEP_IDS if plainly(events).get(s) == "PASS" or s in found.waived}


@settings(max_examples=30, deadline=None)
@given(st.lists(any_event, max_size=12), st.lists(any_event, max_size=12))
def test_later_events_change_only_what_they_are_about(
    first: list[tuple[str, dict[str, object]]], then: list[tuple[str, dict[str, object]]]
) -> None:
    before, after = board(*first), board(*first, *then)
    changed = {str(body["step"]) for _, body in then if "step" in body}
    for step in STEP_IDS:
        if step not in changed:
            assert before.outcome(step) is after.outcome(step)
            assert before.passed(PLAN.by_id[step]) == after.passed(PLAN.by_id[step])


def test_reading_json_round_trip() -> None:
    value = Reading(ReadingState.VALUE, "ohm", 0.3, 0.1, instrument="m", detail={"range_ohm": 40e6})
    record = MemoryRecord()
    body = reading(STEP, "PASS")[1] | {"reading": value.to_json()}
    record.append(EventKind.READING, body, who="x")
    events: list[Event] = record.events()
    kept = fold(PLAN, events).results[STEP].reading
    assert (kept.value, kept.uncertainty, kept.instrument, kept.detail) == (0.3, 0.1, "m", {"range_ohm": 40e6})
