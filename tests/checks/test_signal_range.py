"""Signals that the profile has limits for, judged from a listening; and a whole live stage on the bench's model."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from judging import bus_detail, heard
from model_bench import job_on, shipped

from benchcheck.capture.logs import open_recording
from benchcheck.checks.kind import Context, Judged, all_kinds
from benchcheck.harness.model import Harness, SignalRange
from benchcheck.jobs.listening.capture_file import CaptureFile
from benchcheck.jobs.playing.replay import Replay
from benchcheck.plan.plan import make_plan
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome

KIND = all_kinds()["signal_range"]


def limited(*wanted: tuple[str, float | None, float | None, float | None]) -> Harness:
    """The launch with limits for these signals: name, low, high, stuck_s."""
    harness = shipped("survey_launch")[0]
    found = []
    for name, low, high, stuck_s in wanted:
        message_name, _, signal_name = name.partition(".")
        message = next(entry for entry in harness.buses[0].messages if entry.name == message_name)
        signal = next(entry for entry in message.signals if entry.name == signal_name)
        found.append(SignalRange("can1", message, signal, low, high, stuck_s))
    return replace(harness, signals=tuple(found))


def step_of(*limits: float | None) -> Step:
    harness = limited(("MRU_ATTITUDE.Roll", *(limits or (-45.0, 45.0, 2.0))))
    (step,) = KIND.steps(Context(harness, MeterSpec()))
    return step


def judged(step: Step, answer: Reading) -> Judged:
    measuring = KIND.measure(step)
    assert next(measuring).source == "can1"
    with pytest.raises(StopIteration) as stop:
        measuring.send(answer)
    found = stop.value.value
    assert isinstance(found, Judged)
    return found


def test_the_step_says_its_limits_and_where_they_come_from() -> None:
    step = step_of()
    assert step.id == "signal_range:can1:MRU_ATTITUDE.Roll"
    assert (step.stage, step.quantity, step.subject) == (Stage.LIVE, Quantity.CAN, ("MRU", "can1"))
    assert step.band is not None
    assert (step.band.low, step.band.high, step.band.unit) == (-45.0, 45.0, "deg")
    assert step.band.source == "profile: [[signals]]"
    assert "unchanged for less than 2 s" in step.note
    assert step_of(None, None, 2.0).band is None


def test_the_verdict_is_what_the_listening_came_to() -> None:
    step = step_of()
    said = {"verdict": "FAIL", "state": "absurd", "text": "it was 80 deg at 1.000 s", "worst": 80.0, "unit": "deg"}
    found = judged(step, heard(**bus_detail(signals={"MRU_ATTITUDE.Roll": said})))
    assert (found.verdict.outcome, found.verdict.reason) == (Outcome.FAIL, "absurd")
    assert found.verdict.text.startswith("it was 80 deg at 1.000 s; ")
    assert (found.reading.value, found.reading.unit) == (80.0, "deg")
    unheard = {**said, "verdict": "UNSURE", "state": "not_heard", "worst": None}
    found = judged(step, heard(**bus_detail(signals={"MRU_ATTITUDE.Roll": unheard})))
    assert (found.verdict.outcome, found.reading.state) == (Outcome.UNSURE, ReadingState.NONE)


@pytest.mark.parametrize("answer", [Reading.none("link lost"), heard(**bus_detail()), heard(signals={"other": {}})])
def test_no_listening_is_no_verdict(answer: Reading) -> None:
    found = judged(step_of(), answer)
    assert (found.verdict.outcome, found.verdict.reason) == (Outcome.UNSURE, "no_reading")


def test_a_live_stage_finds_the_absurd_and_the_stuck() -> None:
    """On a bench whose values stand within other limits, or in none: those of the profile that it was built by. There
    NAV_MOTION.Course is a counter, times 0.01, and the last byte of MRU_ATTITUDE never moves."""
    harness = limited(
        ("MRU_ATTITUDE.Roll", -45.0, 45.0, 2.0),
        ("MRU_ATTITUDE.AttitudeCount", None, None, 2.0),  # byte 7
        ("NAV_MOTION.Course", None, 0.1, None),
    )
    made = job_on(harness, make_plan(harness), Context(harness, MeterSpec()), bench_harness=shipped("survey_launch")[0])
    board = made.run()
    found = {
        name.rpartition(".")[2]: (result.outcome.value, result.verdict.reason)
        for name, result in board.results.items()
        if name.startswith("signal_range:")
    }
    assert found == {
        "Roll": ("PASS", "in_range"),
        "AttitudeCount": ("FAIL", "stuck"),
        "Course": ("FAIL", "absurd"),
    }
    evidence = board.results["signal_range:can1:MRU_ATTITUDE.AttitudeCount"].verdict.text
    assert "stayed at 128 for " in evidence
    (stuck,) = [event.body for event in made.record.events() if "AttitudeCount" in str(event.body.get("where"))]
    assert (stuck["kind"], stuck["where"]) == ("stuck_signal", ["MRU", "can1", "MRU_ATTITUDE.AttitudeCount"])
    assert evidence in str(stuck["text"])


def test_a_replay_judges_the_signals_as_the_live_run_did(tmp_path: Path) -> None:
    harness = limited(("MRU_ATTITUDE.Roll", -45.0, 45.0, 2.0), ("MRU_ATTITUDE.AttitudeCount", None, 5.0, None))
    sink = CaptureFile(tmp_path / "live.pcapng", harness)
    context, bench_harness = Context(harness, MeterSpec()), shipped("survey_launch")[0]
    board = job_on(harness, make_plan(harness), context, capture=sink, bench_harness=bench_harness).run()
    sink.close()
    with open_recording(sink.path) as recording:
        replayed = {result.step.id: result for result in Replay(recording, harness).run().results}
    names = sorted((name for name in board.results if name.startswith("signal_range:")), reverse=True)
    assert [board.results[name].outcome for name in names] == [Outcome.PASS, Outcome.FAIL]
    for name in names:
        assert replayed[name].verdict == board.results[name].verdict
        assert replayed[name].reading.to_json() == board.results[name].reading.to_json()
