"""`benchcheck job waive`: by name and with a reason, for what is there, and it opens no gate."""

from __future__ import annotations

import json

import pytest
from console_driver import SoundHarness, check_by_hand

from benchcheck.cli.main import run
from benchcheck.record.store import JobRecord
from benchcheck.words.event import EventKind

BY = ["--by", "Ben Example"]


@pytest.fixture(autouse=True)
def no_bench_of_mine(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def job(tmp_path):
    assert run(["job", "start", "starter", "--by", "Ann Example"]) == 0
    path = tmp_path / "starter.job"
    from benchcheck.bench.clock import FakeClock

    squawk = {"id": "open_run:W8", "kind": "open_run", "where": ["W8"], "stage": "dead", "text": "W8 is open"}
    with JobRecord.open(path, clock=FakeClock()) as record:
        record.append(
            EventKind.SQUAWK_OPENED, {**squawk, "steps": ["continuity:W8"], "readings": []}, who="Ann Example"
        )
    return path


def waivers(job):
    with JobRecord.open(job) as record:
        return [(event.who, event.body) for event in record.events() if event.kind == EventKind.WAIVER]


def test_a_step_and_a_squawk(job, capsys):
    assert run(["job", "waive", str(job), "--step", "continuity:W3", *BY, "--reason", " spare "]) == 0
    assert "It opens no gate" in capsys.readouterr().err
    assert run(["job", "waive", str(job), "--squawk", "open_run:W8", *BY, "--reason", "not fitted"]) == 0
    assert waivers(job) == [
        ("Ben Example", {"step": "continuity:W3", "reason": "spare"}),
        ("Ben Example", {"squawk": "open_run:W8", "reason": "not fitted"}),
    ]
    capsys.readouterr()
    assert run(["job", "show", str(job)]) == 0
    shown = capsys.readouterr().out
    assert "waiver: open_run:W8: not fitted (Ben Example)" in shown
    assert "open squawks: none" in shown
    assert run(["report", str(job), "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [entry["reason"] for entry in document["waivers"]] == ["spare", "not fitted"]
    assert [entry["state"] for entry in document["ended_squawks"]] == ["waived"]
    assert {entry["id"]: entry["waived"] for entry in document["steps"] if entry["waived"]} == {
        "continuity:W3": "spare",
        "continuity:W8": "not fitted",
    }


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--step", "continuity:W33", *BY, "--reason", "x"], "Did you mean 'continuity:W3'?"),
        (["--squawk", "open_run:W9", *BY, "--reason", "x"], "Did you mean 'open_run:W8'?"),
        (["--step", "continuity:W3", *BY, "--reason", "  "], "a waiver needs its reason"),
        (["--step", "continuity:W3", *BY], "Missing option '--reason'"),
        (["--step", "continuity:W3", "--by", "24.0", "--reason", "x"], "'24.0' is no name"),
        ([*BY, "--reason", "x"], "Give --step ID or --squawk ID."),
        (["--step", "continuity:W3", "--squawk", "open_run:W8", *BY, "--reason", "x"], "one thing is waived at a time"),
    ],
)
def test_what_is_refused(job, capsys, arguments, says):
    assert run(["job", "waive", str(job), *arguments]) == 2
    assert says in capsys.readouterr().err
    assert waivers(job) == []


def test_a_waiver_opens_no_gate(job, monkeypatch, capsys):
    """Every step of the dead stage accepted, none measured: power still stays out."""
    assert run(["plan", "starter", "--json"]) == 0
    groups = json.loads(capsys.readouterr().out)["groups"]
    dead = [step["id"] for group in groups if group["stage"] == "dead" for step in group["steps"]]
    assert dead
    for step in dead:
        assert run(["job", "waive", str(job), "--step", step, *BY, "--reason", "accepted unread"]) == 0
    capsys.readouterr()
    code, said = check_by_hand(monkeypatch, ["starter.job", "--stage", "power", *BY], SoundHarness())
    assert code == 4
    assert "switch the supply on" not in said
    assert "power is not let in" in said + capsys.readouterr().out
