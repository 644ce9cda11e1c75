"""Verdicts on volts, currents, levels and listening weigh on the same list of faults as readings in ohms do."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from model_bench import ALL_STAGES, job, shipped

from benchcheck.diagnosis.readings import Readings
from benchcheck.diagnosis.recorded import recorded_probes
from benchcheck.diagnosis.short_list import ShortList, short_lists
from benchcheck.simulator import faults as planted
from benchcheck.simulator.faults import Fault
from benchcheck.words.event import Event, EventKind
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.result import Result
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome, Verdict


def told(profile: str, fault: Fault) -> list[ShortList]:
    made = job(profile, fault)
    made.run(ALL_STAGES)
    context, board = shipped(profile)[2], made.runner.board
    readings = Readings(context, [board.results[s.id] for s in board.plan.steps if s.id in board.results])
    for probe in recorded_probes(context, made.record.events()):
        readings.take(probe)
    return short_lists(readings)


@pytest.mark.parametrize(
    ("profile", "fault"),
    [
        ("starter", planted.DeadTransmitter("P1-3")),
        ("starter", planted.InvertedLevels("P1-3")),
        ("starter", planted.SilentUnit("REC")),
        ("starter", planted.LateUnit("GPS", 2.5)),
        ("starter", planted.UnitCurrent("REC", 1.8)),
        ("starter", planted.WrongBaud("position", "GPS", 9600)),
        ("starter", planted.HighResistance("W2", 1.5)),  # by what each piece of the way lost under load
        ("survey_launch", planted.ConverterOff("CONV")),
        ("survey_launch", planted.FeedVolts("12V sensors", 9.5)),
        ("survey_launch", planted.ExchangedTalkers("position", "GNSS", "depth", "SONAR")),
    ],
    ids=str,
)
def test_a_fault_under_power_is_the_first_of_its_list(profile: str, fault: Fault) -> None:
    (only,) = told(profile, fault)
    first = only.suspects[0]
    assert [entry.kind.value for entry in first.faults] == [fault.kind]
    assert set(fault.where(shipped(profile)[0])) <= set(first.faults[0].where)
    assert first.probability > 0.9
    assert first.favour
    assert not first.left


def judged(verdicts: Mapping[str, tuple[str, str]]) -> Readings:
    """Every step of the starter's power and live stages as it should be, but these: outcome and reason."""
    _, plan, context = shipped("starter")
    results = []
    for step in plan.steps:
        if step.stage is not Stage.DEAD and step.quantity is not Quantity.OHMS:
            outcome, reason = verdicts.get(step.id, ("PASS", "in_band"))
            reading = Reading(ReadingState.VALUE, "", 1.0)
            results.append(Result(step, reading, Verdict(Outcome(outcome), reason, reason)))
    return Readings(context, results)


HEARD, DRAWS = "unit_heard:can1:REC", "unit_current:REC"
FAR = "unit_heard:can1:GPS"  # the adapter is joined at the other end


def test_what_a_unit_draws_tells_silence_from_no_power() -> None:
    (silent,) = short_lists(judged({HEARD: ("FAIL", "missing")}))
    assert silent.suspects[0].faults[0].kind == "silent_unit"
    (dark,) = short_lists(judged({HEARD: ("FAIL", "missing"), DRAWS: ("FAIL", "too_little")}))
    assert dark.suspects[0].faults[0].kind == "unpowered_unit"
    assert any(HEARD.split(":")[2] in line for line in dark.suspects[0].favour)


def test_without_readings_in_ohms_a_silent_unit_may_be_an_open_wire_and_the_probe_that_tells_is_named() -> None:
    (only,) = short_lists(judged({FAR: ("FAIL", "missing")}))
    kinds = [fault.kind.value for suspect in only.suspects for fault in suspect.faults]
    assert "open_run" in kinds
    assert only.probe is not None
    run = next(f.where[0] for s in only.suspects for f in s.faults if f.kind == "open_run")
    assert shipped("starter")[0].run(run) is not None
    assert {m.reads for m in only.meanings} == {"open", "below 1 ohm"}


def test_a_wire_that_was_proved_is_suspected_less() -> None:
    _, plan, context = shipped("starter")
    readings = judged({FAR: ("FAIL", "missing")})
    before = _share(short_lists(readings), "open_run")
    proved = [s for s in plan.of_stage(Stage.DEAD) if s.check == "continuity"]
    readings.add([Result(s, _sound(readings, s), Verdict(Outcome.PASS, "in_band", "")) for s in proved])
    assert _share(short_lists(readings), "open_run") < before / 5
    assert context.harness.runs


def _sound(readings: Readings, step: Step) -> Reading:
    ohm = readings.predicted((), step.state, step.red, step.black)
    return Reading(ReadingState.VALUE, "ohm", ohm, readings.context.meter.ohm_uncertainty(ohm))


def _share(found: list[ShortList], kind: str) -> float:
    return sum(s.probability for entry in found for s in entry.suspects for f in s.faults if f.kind == kind)


def test_probes_of_before_a_later_reading_or_a_rework_are_not_weighed() -> None:
    context = shipped("starter")[2]
    made = job("starter", planted.SwappedContacts(("P1-4", "P1-5")))
    made.run([Stage.DEAD])
    events = made.record.events()
    assert recorded_probes(context, events)
    last = [event for event in events if event.kind == EventKind.READING and not event.body.get("follow_up")][-1]
    assert recorded_probes(context, [*events, last]) == []
    rework = Event(0, "c", EventKind.REWORK, "Ann Example", "", 0, "", "", {"runs": ["W1"]}, "", "")
    assert recorded_probes(context, [*events, rework]) == []
