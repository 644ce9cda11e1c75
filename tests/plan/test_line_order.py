"""RS-232 lines in the plan: a wire's idle level is read before it is listened to, and what listens can't send."""

from __future__ import annotations

import inspect

import pytest
from model_bench import ALL_STAGES, job, shipped

from benchcheck.bench.lines import framing_marks, line_hub, serial_line
from benchcheck.checks.rs232_idle import step_name
from benchcheck.simulator.faults import DeadTransmitter
from benchcheck.words.event import EventKind
from benchcheck.words.step import Quantity, Stage

PROFILES = ("starter", "survey_launch")


@pytest.mark.parametrize("profile", PROFILES)
def test_the_idle_level_of_a_wire_is_planned_before_it_is_listened_to(profile: str) -> None:
    harness, plan, _ = shipped(profile)
    places = {step.id: number for number, step in enumerate(plan.steps)}
    listened = [step for step in plan.steps if step.check == "link_alive"]
    assert len(listened) == sum(len(link.talks) for link in harness.links)
    for step in listened:
        idle = plan.by_id[step_name(step.subject[0], step.subject[1])]
        assert places[idle.id] < places[step.id]
        assert (idle.red, idle.black) == (step.red, step.black)
        assert (idle.stage, step.stage) == (Stage.POWER, Stage.LIVE)
        assert idle.quantity is Quantity.VOLTS
        assert "receive and ground only" in step.note
    # one receiver a direction: each talk is heard on a wire of its own
    assert len({step.red for step in listened}) == len(listened)


@pytest.mark.parametrize("profile", PROFILES)
def test_a_job_reads_every_idle_level_before_the_first_line_is_tapped(profile: str) -> None:
    made = job(profile)
    made.run()
    done = [str(body["step"]) for body in made.record.bodies(EventKind.READING)]
    first = min(number for number, name in enumerate(done) if name.startswith("link_alive:"))
    wanted = {step.id for step in made.runner.plan.steps if step.check == "rs232_idle"}
    assert wanted <= set(done[:first])


def test_a_wire_that_nothing_drives_is_never_tapped() -> None:
    made = job("survey_launch", DeadTransmitter("P104-3"))
    made.run(ALL_STAGES)
    result = made.runner.board.results["link_alive:position:GNSS"]
    assert (result.outcome.value, result.verdict.reason) == ("UNSURE", "no_driven_level")
    assert "P102-1 was at" in result.verdict.text
    taps = {tap.contact for tap in made.bench.model.taps.values()}
    assert "P102-1" not in taps
    # the fault is told once, by the level
    assert [kind for kind, _ in made.squawks] == ["dead_transmitter"]


def test_what_listens_has_nothing_to_send_with() -> None:
    for module in (serial_line, line_hub, framing_marks):
        text = inspect.getsource(module)
        for way in (".write(", "os.write", "send_break", ".sendall("):
            assert way not in text, f"{module.__name__} has {way}"
