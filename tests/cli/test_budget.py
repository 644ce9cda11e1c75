"""`benchcheck budget`, as a person or a program calls it. The analysis itself: tests/traffic/test_schedule.py."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from benchcheck.cli.main import run
from benchcheck.harness.model import Bus, Gender, Harness, Message, Unit, UnitType

ROOT = Path(__file__).parents[2]
GOOD = ROOT / "captures" / "launch_good.pcapng"


def budget(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    """Exit code and JSON."""
    code = run(["budget", *map(str, words), "--json"])
    return code, json.loads(capsys.readouterr().out)


def profile(monkeypatch: pytest.MonkeyPatch, *messages: Message, max_load_percent: float = 50.0, buses: int = 1) -> str:
    kind = UnitType("box", "A box", {"J1": ("dsub9", Gender.PIN)}, ())
    units = {"NAV": Unit("NAV", kind, "NAV", {}, node="Navigator"), "LOG": Unit("LOG", kind, "LOG", {})}
    made = tuple(
        Bus(f"can{number + 1}", 125_000, ("NAV", "LOG"), "P190", messages, max_load_percent=max_load_percent)
        for number in range(buses)
    )
    harness = Harness("bay", "A bay", 20.0, "GND1", {}, (), (), units, (), made, ())
    monkeypatch.setattr("benchcheck.profile.load.load_profile", lambda folder: harness)
    return "starter"


def test_the_demo_beside_what_was_measured(capsys: pytest.CaptureFixture[str]) -> None:
    code, document = budget(capsys, "survey_launch", "--capture", GOOD)
    assert code == 0
    assert document["schema"] == "benchcheck.budget/1"
    (bus,) = document["buses"]
    assert bus["verdict"] == "PASS"
    # what was measured lies between the frames without a stuff bit and the longest ones
    assert bus["least_load_percent"] < bus["measured"]["load_mean_percent"] < bus["worst_load_percent"]
    assert bus["measured"]["not_in_the_profile"] == []
    for message in bus["messages"]:
        assert 0 < message["response_s"] <= message["period_s"]
        assert message["measured"]["mean_period_s"] == pytest.approx(message["period_s"], rel=0.02)
    responses = [message["response_s"] for message in bus["messages"]]
    assert responses == sorted(responses)  # the lower the priority the later, at this load


def test_one_more_unit(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    name = profile(monkeypatch, Message(0x100, False, "fix", "NAV", 0.1), Message(0x101, False, "log", "LOG", 0.1))
    for word in ("NAV", "Navigator"):
        _, document = budget(capsys, name, "--add", word)
        (bus,) = document["buses"]
        added = [message for message in bus["messages"] if message["added"]]
        assert [(message["id"], message["sender"], message["period_s"]) for message in added] == [("102", "NAV 2", 0.1)]
        # 135 bits at 125 kbit/s every 0.1 s: 1.08 % each
        assert bus["worst_load_percent"] == pytest.approx(3 * 1.08)
        assert bus["without_added"]["worst_load_percent"] == pytest.approx(2 * 1.08)


def test_one_more_message(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    name = profile(monkeypatch, Message(0x100, False, "fix", "NAV", 0.1))
    _, document = budget(capsys, name, "--add", "0FF,8,0.1", "--add", "18FF0001, 8, 200 ms")
    before, fix, last = document["buses"][0]["messages"]
    assert (before["id"], before["added"], last["id"], last["period_s"]) == ("0FF", True, "18FF0001", 0.2)
    # the longest lower one, the added higher one, itself: 160 + 135 + 135 bits; without them itself alone
    assert fix["response_s"] == pytest.approx(430 / 125_000)
    assert fix["response_without_added_s"] == pytest.approx(135 / 125_000)


def test_a_database_is_added(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    name = profile(monkeypatch, Message(0x101, False, "fix", "NAV", 0.1))
    _, document = budget(capsys, name, "--add", ROOT / "profiles" / "starter" / "starter.dbc")
    assert sum(message["added"] for message in document["buses"][0]["messages"]) == 2


@pytest.mark.parametrize(
    "words",
    [
        ["--add", "100,8,0.1"],  # is there already
        ["--add", "800,8,0.1"],  # no base identifier
        ["--add", "1F0,65,0.1"],
        ["--add", "1F0,8,0"],
        ["--add", "1F0,8,1.2.3"],
        ["--add", "NOBODY"],
        ["--add", "1F0,8,0.1", "--bus", "can9"],
        ["--bus", "can1"],
        ["--jitter", "-1"],
    ],
)
def test_wrong_use(words: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(["budget", profile(monkeypatch, Message(0x100, False, "fix", "NAV", 0.1)), *words]) == 2
    assert capsys.readouterr().out == ""


def test_with_two_buses_the_bus_must_be_named(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    name = profile(monkeypatch, Message(0x100, False, "fix", "NAV", 0.1), buses=2)
    assert run(["budget", name, "--add", "1F0,8,0.1"]) == 2
    assert "--bus" in capsys.readouterr().err
    _, document = budget(capsys, name, "--add", "1F0,8,0.1", "--bus", "can2")
    assert [len(bus["messages"]) for bus in document["buses"]] == [1, 2]


def test_verdicts(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    fix = Message(0x200, False, "fix", "NAV", 0.1)

    def verdict(*messages: Message, limit: float = 50.0, words: tuple[str, ...] = ()) -> tuple[int, str]:
        code, document = budget(capsys, profile(monkeypatch, *messages, max_load_percent=limit), *words)
        return code, document["buses"][0]["why"]

    assert verdict(fix)[0] == 0
    # 8 bytes at 125 kbit/s every 0.1 s: 0.888 % without a stuff bit, 1.08 % at worst
    assert verdict(fix, limit=0.8)[0] == 1
    assert verdict(fix, limit=1.0) == (4, "whether the load stays below 1 % (profile) depends on the stuff bits")
    assert verdict() == (4, "the profile knows no message of it")
    alarm = Message(0x100, False, "alarm", "LOG", None)
    code, why = verdict(fix, alarm)
    assert code == 4
    assert "100 (no period known)" in why
    assert verdict(fix, alarm, words=("--occasional", "0.5"))[0] == 0
    code, why = verdict(fix, Message(0x100, False, "fast", "LOG", 0.001), limit=200.0)
    assert (code, why) == (1, "may come later than their period: 100, 200")  # 1.08 ms each
    assert verdict(fix, words=("--jitter", "99"))[0] == 1


def test_what_the_profile_does_not_know_is_said(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    name = profile(monkeypatch, Message(0x080, False, "fix", "NAV", 0.1))
    _, document = budget(capsys, name, "--capture", GOOD)
    (bus,) = document["buses"]
    assert "18A10309" in bus["measured"]["not_in_the_profile"]
    assert any("more than the message set can make" in note for note in bus["notes"])


def test_for_a_person_and_for_a_pipe(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["budget", "survey_launch", "--capture", str(GOOD), "--add", "TIDE"]) == 0
    out = capsys.readouterr().out
    assert "load without what is added" in out
    assert "measured 9.30 % mean" in out
    assert "TIDE_LEVEL 2" in out
    assert max(map(len, out.splitlines())) <= 100
    assert run(["budget", "starter", "--plain"]) == 0
    rows = [line.split("\t") for line in capsys.readouterr().out.splitlines()]
    assert {row[0]: len(row) for row in rows} == {"bus": 8, "message": 8}
