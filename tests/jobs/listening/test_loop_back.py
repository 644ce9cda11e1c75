"""The loop-back test: planned where the profile asks, done with leave only, and what it finds."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from judging import volts
from model_bench import Job, job_on, shipped

from benchcheck.bench.bench import Bench
from benchcheck.bench.config import config_from_mapping
from benchcheck.checks.kind import Context, Judged, all_kinds
from benchcheck.checks.loop_back import loop_ways
from benchcheck.cli.main import run
from benchcheck.harness.model import Harness
from benchcheck.jobs.listening.loop_back import pattern_of, send_round
from benchcheck.jobs.operator import SimulatedOperator
from benchcheck.plan.plan import Plan, make_plan
from benchcheck.profile.load import load_profile
from benchcheck.record.store import JobRecord
from benchcheck.simulator.faults import Fault, OpenRun, Short, SwappedContacts
from benchcheck.simulator.launch import start
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.event import EventKind
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step

LAUNCH = Path(__file__).parents[3] / "profiles" / "survey_launch"
LOOP = "loop_back:sound speed"
SEND, HEAR, FAR = "P106-3", "P106-2", ("P107-2", "P107-3")


@cache
def with_loop() -> tuple[Harness, Plan, Context]:
    harness = shipped("survey_launch")[0]
    links = tuple(replace(link, loop_back=link.name == "sound speed") for link in harness.links)
    harness = replace(harness, links=links)
    return harness, make_plan(harness, MeterSpec()), Context(harness, MeterSpec())


def job(*faults: Fault, transmit: bool = True) -> Job:
    return job_on(*with_loop(), faults, transmit=transmit)


def done(*faults: Fault, transmit: bool = True) -> tuple[Job, str, str, str]:
    made = job(*faults, transmit=transmit)
    result = made.runner.run_step(with_loop()[1].by_id[LOOP])
    return made, result.outcome.value, result.verdict.reason, result.verdict.text


def test_it_is_planned_only_where_the_profile_asks_for_it() -> None:
    for profile in ("starter", "survey_launch"):
        assert not [step for step in shipped(profile)[1].steps if step.check == "loop_back"]
    (step,) = [step for step in with_loop()[1].steps if step.check == "loop_back"]
    assert (step.id, step.red, step.black) == (LOOP, SEND, HEAR)
    assert step.state == ALL_OPEN
    assert step.settings["bridge"] == list(FAR)
    # all else of the plan is as it was
    plain = [other.id for other in shipped("survey_launch")[1].steps]
    assert [other.id for other in with_loop()[1].steps if other.id != LOOP] == plain


def test_the_wires_that_are_used() -> None:
    harness = shipped("survey_launch")[0]
    links = {link.name: link for link in harness.links}
    assert loop_ways(links["sound speed"]) == (SEND, HEAR, FAR)
    assert loop_ways(links["position"]) is None  # one wire only


def test_without_leave_it_is_left_out_in_words_and_nothing_is_sent() -> None:
    made, outcome, reason, text = done(transmit=False)
    assert (outcome, reason) == ("SKIPPED", "skipped")
    assert "check --transmit" in text
    assert not any("loop" in line or "sending" in line for line in made.bench.log)
    # nor does asking for it directly help
    request = Request(Quantity.LOOP, ALL_OPEN, SEND, HEAR, source="sound speed")
    reading = made.runner._asker.answer(request)
    assert reading.state is ReadingState.NONE
    assert "check --transmit" in str(reading.detail["why"])
    assert not any("sending" in line for line in made.bench.log)


def test_what_is_sent_comes_back_over_the_bridge() -> None:
    made, outcome, reason, text = done()
    assert (outcome, reason) == ("PASS", "came_back")
    assert text == "256 bytes came back as they were sent"
    moves = [line for line in made.bench.log if "loop" in line or "sending" in line]
    assert moves == [
        f"loop tap1 {SEND} {HEAR} None",
        "sending on tap1",
        f"loop tap1 {SEND} {HEAR} {FAR}",
        "sending on tap1",
    ]
    assert made.bench.model.loops == {}  # all of it was taken off again


def test_the_wires_are_read_to_be_quiet_before_the_transmitter_is_joined() -> None:
    made = job()
    made.runner.run_step(with_loop()[1].by_id[LOOP])
    log = [line for line in made.bench.log if line.split()[0] in ("supply", "touch", "volts", "loop", "sending")]
    assert log[:6] == [
        "supply off",
        f"touch {SEND} P106-5",
        "volts",
        f"touch {HEAR} P106-5",
        "volts",
        f"loop tap1 {SEND} {HEAR} None",
    ]


@pytest.mark.parametrize(
    ("fault", "reason"),
    [
        (OpenRun("W553"), "nothing_back"),
        (Short((SEND, "P106-5"), 0.3), "nothing_back"),
        (Short((SEND, HEAR), 0.3), "without_bridge"),
        (SwappedContacts(("P107-2", "P107-4")), "nothing_back"),
    ],
)
def test_what_it_finds(fault: Fault, reason: str) -> None:
    if isinstance(fault, OpenRun):
        harness = shipped("survey_launch")[0]
        wire = next(run.wire for run in harness.runs if SEND in run.ends)
        fault = OpenRun(wire)
    _, outcome, code, text = done(fault)
    assert (outcome, code) == ("FAIL", reason), text


# --- the verdict alone -----------------------------------------------------------------------------------------------


def judged(*answers: Reading) -> tuple[Judged, list[Request]]:
    step: Step = with_loop()[1].by_id[LOOP]
    measuring = all_kinds()["loop_back"].measure(step)
    asked = [next(measuring)]
    try:
        for answer in answers:
            asked.append(measuring.send(answer))
    except StopIteration as stop:
        return stop.value, asked
    raise AssertionError("asks for more")


def back(count: int, *, same: bool = False, at: int | None = None) -> Reading:
    return Reading(ReadingState.VALUE, "bytes", float(count), detail={"sent": 256, "same": same, "differs_at": at})


def test_a_wire_that_something_drives_is_not_sent_into() -> None:
    found, asked = judged(volts(0.01), volts(-7.2))
    assert (found.verdict.outcome.value, found.verdict.reason) == ("UNSURE", "driven")
    assert "P106-2 is at -7.2 V" in found.verdict.text
    assert {request.quantity for request in asked} == {Quantity.VOLTS}


@pytest.mark.parametrize(
    ("answers", "outcome", "reason", "words"),
    [
        ((back(0), back(256, same=True)), "PASS", "came_back", "256 bytes"),
        ((back(0), back(0)), "FAIL", "nothing_back", "of 256 bytes nothing"),
        ((back(0), back(255, at=17)), "FAIL", "changed", "the first difference is at byte 17"),
        ((back(3),), "FAIL", "without_bridge", "3 bytes came back without the bridge"),
        ((Reading.none("the serial port was lost"),), "UNSURE", "no_reading", "lost"),
        ((back(0), Reading.none("the serial port was lost")), "UNSURE", "no_reading", "lost"),
    ],
)
def test_verdicts(answers: tuple[Reading, ...], outcome: str, reason: str, words: str) -> None:
    found, asked = judged(volts(0.01), volts(-0.02), *answers)
    assert (found.verdict.outcome.value, found.verdict.reason) == (outcome, reason)
    assert words in found.verdict.text
    sent = [request.bridge for request in asked if request.quantity is Quantity.LOOP]
    assert sent == [None, FAR][: len(sent)]


def test_the_pattern_has_every_byte() -> None:
    assert sorted(pattern_of("8N1")) == list(range(256))
    assert sorted(pattern_of("7E1")) == list(range(128))


# --- through the real drivers ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def profile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("profiles") / "survey_launch"
    shutil.copytree(LAUNCH, folder)
    shutil.copytree(LAUNCH.parent / "units", folder.parent / "units")
    text = (folder / "harness.toml").read_text(encoding="utf-8")
    changed = text.replace('name = "sound speed"\n', 'name = "sound speed"\nloop_back = true\n')
    assert changed != text
    (folder / "harness.toml").write_text(changed, encoding="utf-8")
    return folder


@pytest.mark.parametrize("transport", ["pty", "tcp"])
def test_over_a_pseudo_terminal_and_over_tcp(profile: Path, transport: str) -> None:
    """A bridge joins the two wires at the far connector; every byte that there is goes round."""
    harness = load_profile(profile)
    link = next(link for link in harness.links if link.loop_back)
    with (
        start(profile, transport=transport, seed=1) as simulated,
        Bench(config_from_mapping(simulated.description)) as bench,
    ):
        hands = bench.hands
        assert hands is not None
        hands.bring_to(ALL_OPEN)
        request = Request(Quantity.LOOP, ALL_OPEN, SEND, HEAR, source=link.name)
        operator = SimulatedOperator(hands)
        assert bench.line("tap1", link.baud).drain() == []  # a listener that is there is closed first
        assert send_round(bench, operator, link, request).value == 0
        reading = send_round(bench, operator, link, replace(request, bridge=FAR))
        assert (reading.value, reading.detail["same"]) == (256.0, True), reading.detail


def test_by_command_with_leave_and_without(
    profile: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(tmp_path)
    with start(profile, seed=1) as simulated:
        Path("bench.json").write_text(json.dumps(simulated.description), encoding="utf-8")
        assert run(["job", "start", str(profile), "--by", "Ann Example", "--file", "loop.job"]) == 0
        asked = ["check", "loop.job", "--step", LOOP, "--bench", "bench.json"]
        assert run(asked) == 4
        assert "check --transmit" in capsys.readouterr().out
        run([*asked, "--transmit"])
        assert "256 bytes came back as they were sent" in capsys.readouterr().out
    with JobRecord.open(Path("loop.job")) as record:
        (body,) = [e.body for e in record.events() if e.kind == EventKind.READING and e.body.get("step") == LOOP]
        allowed = [e.body.get("transmit", False) for e in record.events() if e.kind == EventKind.SESSION_STARTED]
    assert allowed == [False, True]  # and the record says so
    assert body["stage"] == Stage.POWER.value
    assert body["reading"]["detail"]["sent"] == 256  # type: ignore[index]
