"""The temperature of the day: asked once, recorded with who said it, and never a reason to do work again."""

from __future__ import annotations

from dataclasses import replace

import pytest
from model_bench import MemoryRecord, job_on, shipped

from benchcheck.checks.kind import Context
from benchcheck.jobs.ambient import ask_ambient, parse_ambient, said_on
from benchcheck.jobs.asked import QuestionKind, StopAsked
from benchcheck.plan.ambient import plan_at
from benchcheck.plan.plan import make_plan
from benchcheck.readiness.board import fold
from benchcheck.readiness.in_force import is_changed
from benchcheck.words.errors import InputError
from benchcheck.words.event import Event, EventKind
from benchcheck.words.meter import MeterSpec
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

METER = MeterSpec()


class Scripted:
    def __init__(self, *answers):
        self.answers = list(answers)
        self.asked = []

    def ask(self, question):
        self.asked.append(question)
        return self.answers.pop(0)

    def tell(self, text):
        pass


def warm(profile, ambient_c):
    """Harness, plan and context of a profile that comes along, at another temperature."""
    harness, plan, _ = shipped(profile)
    made = replace(harness, ambient_c=ambient_c)
    return made, plan_at(plan, harness, ambient_c, METER), Context(made, METER)


def test_what_is_typed():
    assert parse_ambient("23") == 23.0
    assert parse_ambient(" 23,5 °C ") == 23.5
    assert parse_ambient("-4 c") == -4.0
    for wrong in ("warm", "70 F", "200", "-100", "", "1e2", "2\x1b[2J"):
        with pytest.raises(InputError) as caught:
            parse_ambient(wrong)
        assert caught.value.hint
        assert str(caught.value).replace("\n", "").isprintable()


def test_a_person_is_asked_until_it_is_a_temperature():
    person = Scripted("warm", "31")
    assert ask_ambient(person, 20.0) == 31.0
    assert [question.kind for question in person.asked] == [QuestionKind.AMBIENT] * 2
    assert "is no temperature" in person.asked[1].why
    assert ask_ambient(Scripted(""), 20.0) is None
    assert ask_ambient(Scripted("skip"), 20.0) is None
    with pytest.raises(StopAsked):
        ask_ambient(Scripted("quit"), 20.0)


def started(at_utc, **body):
    return Event(1, "c", EventKind.SESSION_STARTED, "Ann", at_utc, 0, "", "", body, "", "")


def test_what_was_said_today_stands():
    events = [
        started("2031-05-03T08:00:00Z", ambient_c=12.0, ambient_said_by="Ann"),
        started("2031-05-04T08:00:00Z", ambient_c=27.0, ambient_said_by="Ben"),
        started("2031-05-04T09:00:00Z", ambient_c=20.0),  # from before anybody was asked
        started("2031-05-04T10:00:00Z", ambient_c=20.0, ambient_said_by=""),
    ]
    assert said_on(events, "2031-05-04") == (27.0, "Ben")
    assert said_on(events, "2031-05-05") is None


def test_limits_go_with_the_temperature_of_copper():
    cold, hot = shipped("starter")[1].by_id["continuity:W3"], warm("starter", 40.0)[1].by_id["continuity:W3"]
    # AC 43.13-1B page 11-22: L2 / L1 is 0.927 at 40 C, so 1.2 m of 22 AWG have 63.8 / 0.927 mohm, and two crimps 6
    assert cold.band.high == pytest.approx(2.0 + 0.06378 + 0.006, abs=1e-4)
    assert hot.band.high == pytest.approx(2.0 + 0.06378 / 0.927 + 0.006, abs=1e-4)
    assert "at 40 C" in hot.band.source
    assert hot.basis == cold.band


@pytest.mark.parametrize("profile", ["starter", "survey_launch"])
def test_a_warm_day_has_the_same_steps_done_the_same_way(profile):
    plan, hot = shipped(profile)[1], warm(profile, 45.0)[1]
    assert [step.id for step in hot.steps] == [step.id for step in plan.steps]
    for then, now in zip(plan.steps, hot.steps, strict=True):
        assert (then.red, then.black, then.state, then.load_a) == (now.red, now.black, now.state, now.load_a)
        assert then.band == (now.basis or now.band)
    assert any(step.basis is not None for step in hot.steps)
    assert plan_at(plan, shipped(profile)[0], shipped(profile)[0].ambient_c, METER) is plan


def test_what_was_proved_on_a_warm_day_stands_on_a_cold_one():
    made = job_on(*warm("starter", 38.0))
    made.run([Stage.DEAD])
    body = next(b for b in made.record.bodies(EventKind.READING) if b["step"] == "continuity:W3")
    plan = shipped("starter")[1]
    # judged by the limit of the day, known again by that of the profile
    assert body["band"]["high"] > body["basis"]["high"] == plan.by_id["continuity:W3"].band.high
    for other in (plan, warm("starter", -5.0)[1], warm("starter", 38.0)[1]):
        board = fold(other, made.record.events())
        assert {board.outcome(step.id) for step in other.of_stage(Stage.DEAD)} == {Outcome.PASS}


def test_a_run_that_was_changed_is_seen_on_any_day():
    made = job_on(*warm("starter", 38.0))
    made.run([Stage.DEAD])
    harness = shipped("starter")[0]
    longer = tuple(replace(run, length_m=9.0) if run.wire == "W3" else run for run in harness.runs)
    changed = replace(harness, runs=longer)
    board = fold(make_plan(changed, METER), made.record.events())
    assert "continuity:W3" not in board.results
    assert board.outcome("continuity:W8") is Outcome.PASS


def test_records_from_before_anybody_was_asked_stand():
    """A recorded body without basis, and a record without a zero of the leads: judged as it was."""
    made = job_on(*shipped("starter"))
    made.run([Stage.DEAD])
    old = MemoryRecord()
    for event in made.record.events():
        if event.kind != EventKind.LEAD_ZERO:
            body = {key: value for key, value in event.body.items() if key not in ("basis", "ambient_said_by")}
            old.append(event.kind, body, who=event.who, profile=event.profile)
    for plan in (shipped("starter")[1], warm("starter", 33.0)[1]):
        board = fold(plan, old.events())
        assert {board.outcome(step.id) for step in plan.of_stage(Stage.DEAD)} == {Outcome.PASS}
        for body in old.bodies(EventKind.READING):
            if not body["follow_up"]:
                assert not is_changed(plan.by_id[body["step"]], body)
