"""The ways of a job's plan: chosen at its start, kept in its record, and the same for every command on it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchcheck.cli.job_plan import plan_of, ways_of
from benchcheck.cli.main import run
from benchcheck.cli.opened import opened_job
from benchcheck.record.store import JobRecord
from benchcheck.words.errors import InputError
from benchcheck.words.event import Event
from benchcheck.words.ways import Identity, Isolation, Ways

BOTH = Ways(Isolation.PLUG, Identity.CODED)


def started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *options: str) -> Path:
    monkeypatch.chdir(tmp_path)
    assert run(["job", "start", "starter", "--by", "Ann Example", *options]) == 0
    return tmp_path / "starter.job"


@pytest.mark.parametrize(
    ("options", "ways"),
    [
        ((), Ways()),
        (("--isolation", "full"), Ways(Isolation.FULL)),
        (("--isolation", "plug", "--identity", "coded"), BOTH),
    ],
)
def test_the_ways_are_kept_in_the_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, options: tuple[str, ...], ways: Ways
) -> None:
    path = started(tmp_path, monkeypatch, *options)
    with JobRecord.open(path) as record:
        events = record.events()
    assert events[0].body["ways"] == ways.to_json()
    assert ways_of(events) == ways
    plan = plan_of("starter", ways)[1]
    with opened_job(path, bench=None, who="Ann Example") as opened:
        assert opened.plan.steps == plan.steps
        assert opened.context.ways == ways


def test_each_command_speaks_of_the_steps_of_that_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = started(tmp_path, monkeypatch, "--isolation", "plug")
    plugged = {step.id for step in plan_of("starter", Ways(Isolation.PLUG))[1].steps}
    usual = {step.id for step in plan_of("starter")[1].steps}
    gone, kept = min(usual - plugged), min(plugged & usual)
    waive = ["job", "waive", str(path), "--by", "Ann Example", "--reason", "r", "--step"]
    assert run([*waive, gone]) == 2
    assert f"no step '{gone}'" in capsys.readouterr().err
    assert run([*waive, kept]) == 0
    capsys.readouterr()
    assert run(["report", str(path), "--json", "-"]) == 0
    reported = json.loads(capsys.readouterr().out)
    assert {row["id"] for row in reported["steps"]} == plugged


def test_a_job_of_before_there_were_ways_goes_the_ordinary_ones() -> None:
    body = {"title": "t", "profile": "starter", "digest": "d", "version": "0"}
    event = Event(1, "c", "job.started", "who", "", 0, "", "", body, "", "")
    assert ways_of([event]) == Ways()
    assert ways_of([]) == Ways()


def test_ways_that_are_not_known_are_said() -> None:
    body = {"ways": {"isolation": "by guessing"}}
    with pytest.raises(InputError, match="by guessing"):
        ways_of([Event(1, "c", "job.started", "who", "", 0, "", "", body, "", "")])


def test_ways_go_there_and_back() -> None:
    for isolation in Isolation:
        for identity in Identity:
            ways = Ways(isolation, identity)
            assert Ways.from_json(json.loads(json.dumps(ways.to_json()))) == ways


def test_plan_shows_a_way_and_what_it_proves(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["plan", "starter", "--isolation", "plug", "--stage", "dead"]) == 0
    text = capsys.readouterr().out
    assert "every two nets: 36 of 36 pairs proved apart (100 %)" in text
    assert "put the shorting plug on P1" in text
    assert run(["plan", "starter", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["coverage"]["readings_per_contact"] < 1.5
