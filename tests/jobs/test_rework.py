"""What a job records of contacts that were pulled, and what is then to be done again."""

from __future__ import annotations

import pytest
from model_bench import job_on
from proved_job import CONTEXT, HARNESS, PLAN, WHO, proved

from benchcheck.jobs.rework import record_rework
from benchcheck.readiness.board import fold
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome
from benchcheck.words.ways import Ways


def test_power_is_kept_out_until_what_lies_beside_a_feed_is_proved_again() -> None:
    made = proved()
    record_rework(made.record, HARNESS, PLAN, ["P1-1"], ways=Ways(), reason="bent", who=WHO)  # type: ignore[arg-type]
    again = job_on(HARNESS, PLAN, CONTEXT, record=made.record)
    assert again.runner.power_blockers()
    again.run([Stage.DEAD])
    assert not again.runner.power_blockers()


def test_a_unit_that_was_let_in_goes_in_again_only_when_its_contacts_are_proved() -> None:
    made = proved()
    made.run([Stage.POWER])
    assert made.runner.board.outcome("unit_current:GPS") is Outcome.PASS
    done = record_rework(made.record, HARNESS, PLAN, ["P1-1"], ways=Ways(), reason="bent", who=WHO)  # type: ignore[arg-type]
    assert "unit_current:GPS" in done.had
    again = job_on(HARNESS, PLAN, CONTEXT, record=made.record)
    assert "not proved" in again.runner.why_not(PLAN.by_id["unit_current:GPS"])
    again.run([Stage.DEAD, Stage.POWER])
    assert again.runner.board.outcome("unit_current:GPS") is Outcome.PASS
    assert not [name for name in done.again if again.runner.board.outcome(name) is None]


@pytest.mark.parametrize(
    ("what", "contacts", "runs", "connectors"),
    [
        (["P1-3"], ["P1-3"], [], []),
        (["W8"], ["P1-3", "P2-7"], ["W8"], []),
        (["GND1"], ["GND1"], [], []),
        (["TB1", "P1-3"], ["TB1-1", "TB1-2", "TB1-4", "P1-3"], [], ["TB1"]),
    ],
)
def test_the_body_of_a_rework(what: list[str], contacts: list[str], runs: list[str], connectors: list[str]) -> None:
    record = proved().record
    done = record_rework(record, HARNESS, PLAN, what, ways=Ways(), reason="why", who=WHO)  # type: ignore[arg-type]
    body = record.events()[-1].body
    assert (body["contacts"], body["runs"], body["connectors"], body["reason"]) == (contacts, runs, connectors, "why")
    assert body["again"] == done.again
    assert set(done.had) <= set(done.again)
    board = fold(PLAN, record.events())
    assert set(board.due_again) == set(done.had)
