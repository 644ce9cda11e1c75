"""`benchcheck budget`, as a person or a program calls it. The analysis itself: tests/traffic/wire/test_schedule.py."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from frame_rows import batch_of

from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.cli.main import run
from benchcheck.harness.bus_source import BusSource
from benchcheck.harness.model import Bus, Gender, Harness, Message, Unit, UnitType

ROOT = Path(__file__).parents[2]
GOOD = ROOT / "captures" / "launch_good.pcapng"


def budget(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    """Exit code and JSON."""
    code = run(["budget", *map(str, words), "--json"])
    return code, json.loads(capsys.readouterr().out)


def profile(
    monkeypatch: pytest.MonkeyPatch,
    *messages: Message,
    max_load_percent: float = 50.0,
    buses: int = 1,
    data_bitrate: int | None = None,
    sources: tuple[BusSource, ...] = (),
) -> str:
    kind = UnitType("box", "A box", {"J1": ("dsub9", Gender.PIN)}, ())
    units = {"NAV": Unit("NAV", kind, "NAV", {}, node="Navigator"), "LOG": Unit("LOG", kind, "LOG", {})}
    made = tuple(
        Bus(
            f"can{number + 1}",
            125_000,
            ("NAV", "LOG"),
            "P190",
            messages,
            max_load_percent=max_load_percent,
            data_bitrate=data_bitrate,
            sources=sources,
        )
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


DATABASE = """VERSION "1"
NS_ :
BS_:
BU_: WIND RAIN
BO_ 512 WIND_SPEED: 4 WIND
 SG_ Speed : 0|16@1+ (0.01,0) [0|100] "m/s" Vector__XXX
BO_ 513 RAIN_RATE: 2 RAIN
 SG_ Rate : 0|16@1+ (0.1,0) [0|500] "mm" Vector__XXX
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;
BA_DEF_DEF_ "GenMsgCycleTime" 0;
BA_ "GenMsgCycleTime" BO_ 512 100;
BA_ "GenMsgCycleTime" BO_ 513 1000;
"""


def test_a_unit_that_the_profile_does_not_know_is_added_by_its_database(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The launch with a wind sensor, of whose type the profile has no file."""
    path = tmp_path / "weather.dbc"
    path.write_text(DATABASE)
    _, document = budget(capsys, "survey_launch", "--add", path)
    (both,) = document["buses"]
    assert [(m["id"], m["sender"]) for m in both["messages"] if m["added"]] == [("200", "WIND"), ("201", "RAIN")]
    _, document = budget(capsys, "survey_launch", "--add", f"{path}:WIND")
    (wind,) = document["buses"]
    assert [(m["id"], m["sender"], m["period_s"]) for m in wind["messages"] if m["added"]] == [("200", "WIND", 0.1)]
    # 4 data bytes: 95 bits at worst (55 + 10 x 4), 79 at least, at 250 kbit/s every 0.1 s
    more = {key: wind[key] - wind["without_added"][key] for key in ("least_load_percent", "worst_load_percent")}
    assert more == {"least_load_percent": pytest.approx(0.316), "worst_load_percent": pytest.approx(0.38)}
    # every message of lower priority may wait for it, and none comes sooner
    for message in wind["messages"]:
        if not message["added"]:
            assert message["response_s"] >= message["response_without_added_s"]
    lowest = wind["messages"][-1]
    assert lowest["response_s"] - lowest["response_without_added_s"] == pytest.approx(95 / 250_000)


def test_what_no_unit_can_be_added_by(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "weather.dbc"
    path.write_text(DATABASE)
    assert run(["budget", "survey_launch", "--add", f"{path}:WINDY"]) == 2
    assert "Did you mean 'WIND'?" in capsys.readouterr().err
    assert run(["budget", "survey_launch", "--add", str(ROOT / "profiles" / "units" / "tide_radio.toml")]) == 2
    assert "says how a unit is wired, not what it sends" in capsys.readouterr().err


def test_how_late_a_message_was_met(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One of a hundred frames 3 ms late: the interval before it is 3 ms longer, the one behind it 3 ms shorter."""
    name = profile(monkeypatch, Message(0x100, False, "fix", "NAV", 0.1), Message(0x200, False, "log", "LOG", 0.1))
    start, ms = 1_700_000_000_000_000_000, 1_000_000
    at = [k * 100 * ms + (3 * ms if k == 50 else 0) for k in range(100)]
    rows = sorted(
        [(start + t, 0, 0x100, 0, bytes(8)) for t in at]
        + [(start + 5 * ms + k * 100 * ms, 0, 0x200, 0, bytes(8)) for k in range(100)]
    )
    with CaptureWriter(tmp_path / "late.pcapng") as writer:
        writer.write_frames(writer.add_bus("can1", 125_000), batch_of(rows))
    _, document = budget(capsys, name, "--capture", tmp_path / "late.pcapng")
    (bus,) = document["buses"]
    fix, log = bus["messages"]
    # and the frame itself, 111 bits at least
    assert fix["measured"]["response_at_least_s"] == pytest.approx(0.003 + 111 / 125_000)
    assert log["measured"]["response_at_least_s"] == pytest.approx(111 / 125_000)
    assert fix["response_s"] == pytest.approx(270 / 125_000)  # 135 bits of the one below, and its own
    assert any(note.startswith("met later than the bus can make it at worst: 100;") for note in bus["notes"])
    assert "response_at_least_s" in document["rules"]


def test_what_only_sources_tell_of_is_said_not_to_be_in_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    sources = (BusSource("NAV", can_id=0x100), BusSource("LOG", address=0x23, extended=True, period_s=0.1))
    _, document = budget(capsys, profile(monkeypatch, Message(0x100, False, "fix", "NAV", 0.1), sources=sources))
    (bus,) = document["buses"]
    assert bus["notes"] == ["sent as well, and not in it, for nothing tells how long it is: source address 23"]


def test_fd_frames_at_the_second_bit_rate(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    name = profile(monkeypatch, Message(0x100, False, "fix", "NAV", 0.1, 64), data_bitrate=1_000_000)
    _, document = budget(capsys, name)
    (bus,) = document["buses"]
    # 712 bits at worst, 33 of them at 125 kbit/s (see tests/traffic/wire/test_schedule.py)
    assert bus["worst_load_percent"] == pytest.approx(100 * (33 / 125e3 + 679 / 1e6) / 0.1)
    assert bus["data_bitrate"] == 1_000_000
    assert any("switch to 1,000,000 bit/s" in note for note in bus["notes"])
    _, document = budget(capsys, profile(monkeypatch, Message(0x100, False, "fix", "NAV", 0.1, 64)))
    assert document["buses"][0]["worst_load_percent"] == pytest.approx(100 * 712 / 125e3 / 0.1)
    assert any("without a faster data rate" in note for note in document["buses"][0]["notes"])


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
    assert "measured 9.34 % mean" in out
    assert "TIDE_LEVEL 2" in out
    assert max(map(len, out.splitlines())) <= 100
    assert run(["budget", "starter", "--plain"]) == 0
    rows = [line.split("\t") for line in capsys.readouterr().out.splitlines()]
    assert {row[0]: len(row) for row in rows} == {"bus": 8, "message": 8}
