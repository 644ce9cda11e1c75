"""Two senders of one identifier: the same words live, replayed and surveyed; and a whole live stage by sources alone."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from model_bench import Job, job_on, shipped
from replayed import by_id, live, replay, told_again, told_live

from benchcheck.capture.logs import open_recording
from benchcheck.checks.kind import Context
from benchcheck.cli.main import run
from benchcheck.harness.bus_source import BusSource
from benchcheck.harness.model import Harness
from benchcheck.jobs.listening.capture_file import CaptureFile
from benchcheck.jobs.playing.replay import Replay
from benchcheck.plan.plan import make_plan
from benchcheck.simulator.faults import Fault, IntermittentUnit, SilentUnit, UnexpectedMessage
from benchcheck.words.meter import MeterSpec
from benchcheck.words.result import Result
from benchcheck.words.verdict import Outcome

PROFILE = "survey_launch"


@pytest.fixture(scope="module")
def doubled(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, Path]:
    """The launch, on which somebody else sends NAV_POSITION (110, every 50 ms) too."""
    return live(tmp_path_factory.mktemp("doubled"), UnexpectedMessage("can1", 0x110, 0.05))


def test_a_second_sender_fails_live(doubled: tuple[Job, Path]) -> None:
    body = json.loads(told_live(doubled[0])["bus_strangers:can1"])
    assert (body["verdict"]["outcome"], body["verdict"]["reason"]) == ("FAIL", "second_sender")
    assert body["verdict"]["text"].startswith("identifier 110 of NAV comes ")
    assert "two senders; two units send one identifier" in body["verdict"]["text"]
    (entry,) = body["reading"]["detail"]["unexpected"]
    assert (entry["identifier"], entry["owner"], entry["verdict"]) == ("110", "NAV", "FAIL")
    assert entry["first_s"] < entry["last_s"]
    assert entry["mean_period_s"] == pytest.approx(0.025, rel=0.05)
    assert body["reading"]["detail"]["identifiers"] == []  # nobody is a stranger


def test_it_is_replayed_byte_for_byte_and_surveyed_in_the_same_words(
    doubled: tuple[Job, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    made, path = doubled
    told = told_live(made)
    assert {r.step.id: told_again(r) for r in replay(path).results} == told
    entry = json.loads(told["bus_strangers:can1"])["reading"]["detail"]["unexpected"][0]
    assert run(["survey", str(path), "--profile", PROFILE, "--json"]) == 1
    surveyed: list[dict[str, Any]] = json.loads(capsys.readouterr().out)["units"]
    (found,) = [unit for unit in surveyed if unit["owner"]]
    assert (found["unit"], found["owner"], found["verdict"], found["state"]) == ("110", "NAV", "FAIL", "unexpected")
    # the survey goes on to the last frame, the live run judged a moment before: the same words but for the figures
    assert _without_figures(found["text"]) == _without_figures(entry["text"])


def _without_figures(text: str) -> str:
    return " ".join(word for word in text.split() if not any(char.isdigit() for char in word))


def test_one_sender_is_no_news(tmp_path: Path) -> None:
    made, path = live(tmp_path)
    assert by_id(replay(path))["bus_strangers:can1"].outcome is Outcome.PASS
    assert json.loads(told_live(made)["bus_strangers:can1"])["reading"]["detail"]["unexpected"] == []


def by_sources(harness: Harness) -> Harness:
    """The launch without senders in its database: each unit is known by a source, in one of the ways there are."""
    bus = harness.buses[0]
    sources = (
        BusSource("PMON", address=0x01, extended=True, period_s=1.0),  # PMON_ALARMS, 18A10301
        BusSource("WINCH", can_id=0x0A0, mask=0x7FE, period_s=0.05),
        BusSource("SONAR", can_id=0x121, period_s=0.05),
        BusSource("SVP", can_id=0x130, period_s=0.1),
        BusSource("MRU", group=0x0A103, address=0x05, extended=True, period_s=0.5),
        BusSource("NAV", can_id=0x110, mask=0x7FC, period_s=0.05, multi_frame=True),
        BusSource("LOG", can_id=0x150, byte=7, value=0x50, period_s=0.1),  # the simulated unit's last byte is its own
        BusSource("HELM", can_id=0x160, mask=0x7FE, period_s=0.05),
        BusSource("TIDE", address=0x09, extended=True, period_s=1.0),
    )
    told = replace(bus, messages=tuple(replace(m, sender="") for m in bus.messages), sources=sources)
    return replace(harness, buses=(told,), signals=())


def live_by_sources(folder: Path, *faults: Fault) -> tuple[Harness, dict[str, str], Mapping[str, Result]]:
    """(profile, what was recorded live, what the replay says) of a bench whose tool knows units by sources only."""
    harness = shipped(PROFILE)[0]
    told = by_sources(harness)
    context = Context(told, MeterSpec())
    sink = CaptureFile(folder / "live.pcapng", told)
    made = job_on(told, make_plan(told, context.meter), context, faults, capture=sink, bench_harness=harness)
    made.run()
    sink.close()
    with open_recording(sink.path) as recording:
        results = {result.step.id: result for result in Replay(recording, told).run().results}
    return told, told_live(made), results


def test_a_live_stage_by_sources_alone(tmp_path: Path) -> None:
    told, record, results = live_by_sources(tmp_path, SilentUnit("TIDE"), IntermittentUnit("WINCH", 1.2, 0.9))
    units = {unit: json.loads(record[f"unit_heard:can1:{unit}"]) for unit in told.buses[0].nodes}
    assert {unit: (body["verdict"]["outcome"], body["verdict"]["reason"]) for unit, body in units.items()} == {
        **dict.fromkeys(told.buses[0].nodes, ("PASS", "present")),
        "TIDE": ("FAIL", "missing"),
        "WINCH": ("FAIL", "intermittent"),
    }
    assert "source address 09" in results["unit_heard:can1:TIDE"].step.note
    assert units["WINCH"]["reading"]["detail"]["pauses"]
    assert {name: told_again(result) for name, result in results.items()} == record
