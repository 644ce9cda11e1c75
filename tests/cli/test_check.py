"""`benchcheck check`: with a person at a pipe and at a terminal, and on a simulated bench."""

from __future__ import annotations

import io
import json
import os
import pty
import select
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from console_driver import PROMPT, SoundHarness, check_by_hand
from first_steps import FIRST, SECOND, THIRD

from benchcheck.bench.bench import Bench
from benchcheck.bench.config import config_from_mapping
from benchcheck.cli.check import _capture_name
from benchcheck.cli.main import run
from benchcheck.record.store import JobRecord
from benchcheck.record.verify import verify_record
from benchcheck.simulator.launch import start
from benchcheck.words.event import EventKind

ROOT = Path(__file__).parents[2]
STARTER = ROOT / "profiles" / "starter"


@pytest.fixture(autouse=True)
def no_bench_of_mine(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def job(tmp_path):
    assert run(["job", "start", "starter", "--by", "Ann Example"]) == 0
    return tmp_path / "starter.job"


def piped(monkeypatch, text, *arguments):
    monkeypatch.setattr(sys, "stdin", io.StringIO(text))
    return run(["check", *arguments])


def events(job, kind):
    with JobRecord.open(job) as record:
        return [event.body for event in record.events() if event.kind == kind]


def of_plan(job):
    return [body for body in events(job, EventKind.READING) if not body["follow_up"]]


def test_a_person_proves_the_starter_harness(job, monkeypatch, capsys):
    code, said = check_by_hand(monkeypatch, ["starter.job", "--stage", "dead", "--by", "Ann Example"])
    assert code == 0
    # volts are asked for before the first ohms, at the feed and at the pair itself, and once is enough
    assert said.count("before ohms, DC volts") == 2
    assert "open every connector and push in every protector" in said
    assert "limit: at most 2.07 ohm (computed: AWG 22, 1.2 m at 20 C" in said
    code, said = check_by_hand(monkeypatch, ["starter.job", "--stage", "power", "--by", "Ann Example"])
    assert code == 0
    assert said.index("your name> ") < said.index("switch the supply on")
    assert "  put a breakout lead on P2\n  plug P2 into its unit\n" in said
    assert said.count("switch the supply off, and see that it is off") >= 1
    assert said.rindex("switch the supply off") > said.rindex("switch the supply on")
    (accepted,) = events(job, EventKind.CAUTIONS)
    assert len(accepted["cautions"]) >= 5
    amps = next(body for body in of_plan(job) if body["step"] == "unit_current:REC")
    assert amps["reading"]["value"] == pytest.approx(0.61)
    assert "(+) PASS    feed_volts:P1-1:P1-2: 24 V" in capsys.readouterr().out
    assert verify_record(job).ok


def test_live_without_adapters_is_unsure_and_moves_nothing(job, monkeypatch, capsys):
    for stage in ("dead", "power"):
        assert check_by_hand(monkeypatch, ["starter.job", "--stage", stage])[0] == 0
    assert piped(monkeypatch, "", "starter.job", "--stage", "live") == 4
    out, err = capsys.readouterr()
    assert "UNSURE  unit_heard:can1:GPS: this bench has no CAN adapter for can1" in out
    assert "this bench has no serial port to listen with" in out
    assert "Enter when done" not in err.split("live stage:")[-1]


def test_garbage_is_asked_again_and_words_are_understood(job, monkeypatch, capsys):
    typed = [
        "",
        "",
        "0",
        "0",
        "0.1 O",
        "rel",
        "garbage",
        "24 V",
        "0.2",
        "skip",
        "skip the probe slipped",
        "back",
        "0.3",
        "quit",
    ]
    assert piped(monkeypatch, "\n".join(typed) + "\n", "starter.job", "--stage", "dead", "--by", "Ann") == 4
    out, err = capsys.readouterr()
    assert "'O' is no reading" in err
    assert "'garbage' is no reading" in err
    assert "'24 V' is in volts, and this asks for ohms" in err
    assert "Say why: skip REASON." in err
    # `back` from the third step leads to the second, which was left out before
    assert [(body["step"], body["reading"]["value"]) for body in of_plan(job)] == [
        (FIRST.id, 0.2),
        (SECOND.id, 0.3),
    ]
    assert f"SKIPPED {SECOND.id}: left out by Ann: the probe slipped" in out
    (skipped,) = events(job, EventKind.SKIPPED)
    assert skipped == {"step": SECOND.id, "reason": "left out by Ann: the probe slipped"}


def test_the_end_of_the_input_stops_and_a_rerun_goes_on(job, monkeypatch, capsys):
    assert piped(monkeypatch, "\n\n0\n0\nrel\n0.2\n0.2\n", "starter.job", "--stage", "dead") == 4
    assert "Stopped here. What was recorded stays" in capsys.readouterr().err
    assert [body["step"] for body in of_plan(job)] == [FIRST.id, SECOND.id]
    assert events(job, EventKind.SESSION_ENDED) == [{"outcome": "broken off"}]
    assert piped(monkeypatch, "\n\n0\n0\nrel\n0.2\n", "starter.job", "--stage", "dead") == 4
    assert of_plan(job)[-1]["step"] == THIRD.id
    assert verify_record(job).ok


def test_a_failed_reading_is_followed_up_and_becomes_a_squawk(job, monkeypatch, capsys):
    person = SoundHarness({"run W8 ": "OL", "Where does the fault lie": "OL"})
    code, said = check_by_hand(monkeypatch, ["starter.job", "--stage", "dead", "--json"], person)
    assert code == 1
    assert "Where does the fault lie?" in said
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "benchcheck.check/1"
    assert document["exit_code"] == 1
    assert [squawk["kind"] for squawk in document["open_squawks"]] == ["open_run"]
    assert document["open_squawks"][0]["where"] == ["W8"]
    # found good later: the squawk is closed by the later reading
    # and what was proved of the conductor that was worked on is due again
    assert check_by_hand(monkeypatch, ["starter.job", "--step", "continuity:W8"])[0] == 4
    assert check_by_hand(monkeypatch, ["starter.job", "--stage", "dead"])[0] == 0
    assert [body["id"] for body in events(job, EventKind.SQUAWK_CLOSED)] == ["open_run:W8"]


def test_power_is_not_let_in_before_shorts_are_proved(job, monkeypatch, capsys):
    assert piped(monkeypatch, "", "starter.job", "--stage", "power") == 4
    out, err = capsys.readouterr()
    assert "power is not let in" in out
    assert out.count("power is not let in") == 1  # the same reason is not said twenty times
    assert "your name" not in err
    assert "switch the supply on" not in err


def test_cautions_want_a_name(job, monkeypatch, capsys):
    assert check_by_hand(monkeypatch, ["starter.job", "--stage", "dead"])[0] == 0
    assert piped(monkeypatch, "\nskip them\n", "starter.job", "--stage", "power") == 4
    assert capsys.readouterr().err.count("Power comes on only after somebody has accepted them by name") == 2
    assert events(job, EventKind.CAUTIONS) == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere.job", "--stage", "dead"], "there is no job record"),
        (["text.job", "--stage", "dead"], "this is not a job record"),
        (["starter.job"], "Give --stage dead, power or live"),
        (["starter.job", "--step", "continuity:W33"], "Did you mean 'continuity:W3'?"),
        (["starter.job", "--stage", "power", "--step", "continuity:W3"], "is a step of the dead stage"),
        (["starter.job", "--stage", "dead", "--bench", "none.toml"], "none.toml: can't be read"),
        (["starter.job", "--stage", "dead", "--bench", "bad.toml"], "bad.toml:1: unknown key 'nane'"),
        (["starter.job", "--stage", "dead", "--bench", "bad.json"], "bad.json: this is not JSON"),
        (["starter.job", "--stage", "dead", "--bench", "text.job"], "This is not TOML"),
        (["starter.job", "--stage", "dead", "--bench", "bytes"], "this is not text"),
    ],
)
def test_wrong_use_says_what_and_loses_nothing(job, monkeypatch, capsys, arguments, words):
    Path("text.job").write_text("hello", encoding="utf-8")
    Path("bad.toml").write_text('nane = "x"\n', encoding="utf-8")
    Path("bad.json").write_text('{"name": ', encoding="utf-8")
    Path("bytes").write_bytes(b"\xff\xfe\x00")
    before = job.read_bytes()
    assert piped(monkeypatch, "", *arguments) == 2
    assert words in capsys.readouterr().err
    assert job.read_bytes() == before
    assert not list(Path().glob("*.lock"))


def test_a_changed_profile_is_said_and_a_bench_beside_it_is_used(tmp_path, monkeypatch, capsys):
    shutil.copytree(STARTER.parent / "units", tmp_path / "profiles" / "units")
    mine = tmp_path / "profiles" / "mine"
    shutil.copytree(STARTER, mine)
    assert run(["job", "start", str(mine)]) == 0
    (mine / "bench.toml").write_text('name = "bench beside it"\n[meter]\nmanual = true\n', encoding="utf-8")
    with (mine / "pins.csv").open("a", encoding="utf-8") as table:
        table.write("W11,TB1-3,P2-10,22,0.8,signal,,,brown,\n")
    assert piped(monkeypatch, "\n\n0\n0\nrel\n0.2\n", "mine.job", "--stage", "dead") == 4
    err = capsys.readouterr().err
    assert "the profile has been changed since this job was last worked on" in err
    assert "run W11 added: TB1-3 to P2-10" in err
    assert "bench beside it" in err
    shutil.rmtree(mine)
    assert piped(monkeypatch, "", "mine.job", "--stage", "dead") == 2
    assert "the profile of this job is not there" in capsys.readouterr().err


def test_stdin_that_is_closed_is_the_end_of_the_input(job, monkeypatch, capsys):
    monkeypatch.setattr(sys, "stdin", None)
    assert run(["check", "starter.job", "--stage", "dead"]) == 4
    assert "Stopped here." in capsys.readouterr().err


def test_the_bench_of_my_own_configuration_is_used(job, tmp_path, monkeypatch, capsys):
    mine = tmp_path / "config" / "benchcheck" / "bench.toml"
    mine.parent.mkdir(parents=True)
    mine.write_text(
        'name = "my own bench"\n[meter]\nmanual = true\n[meter.accuracy]\nohm_max = 1e4\n', encoding="utf-8"
    )
    assert piped(monkeypatch, "", "starter.job", "--step", "supply_to_ground:TB1-1:TB1-4") == 4
    assert f"bench: my own bench ({mine})" in capsys.readouterr().err
    # OL on a meter that ends below the limit proves nothing
    assert piped(monkeypatch, "\n\n0\n0\nrel\nOL\n", "starter.job", "--step", "supply_to_ground:TB1-1:TB1-4") == 4
    assert "UNSURE" in capsys.readouterr().out


def test_bytes_that_are_no_text_are_garbage(job):
    done = subprocess.run(
        [sys.executable, "-m", "benchcheck", "check", "starter.job", "--stage", "dead"],
        input=b"\n\n0\n0\n0.1 0.1 0.1\n\xff\xfe\x00\x1b[2J\n0.3\n",
        capture_output=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 4
    assert b"is no reading" in done.stderr
    assert b"\x1b" not in done.stderr + done.stdout
    assert f"(+) PASS    {FIRST.id}: 0.2 ohm".encode() in done.stdout


def spawned(job, *arguments):
    """`benchcheck check` on a pseudo-terminal: the process and the terminal's other end."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "benchcheck", "check", str(job), *arguments],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    os.close(theirs)
    return process, ours


def read_until(ours, wanted):
    said = ""
    while not wanted(said):
        assert select.select([ours], [], [], 60)[0], f"nothing more came after: {said[-300:]}"
        try:
            data = os.read(ours, 65536)
        except OSError:  # the other end is closed
            return said
        said += data.decode().replace("\r\n", "\n")
    return said


def test_at_a_terminal(job):
    process, ours = spawned(job, "--stage", "dead", "--by", "Ann Example")
    try:
        person, said = SoundHarness(), ""
        for _ in range(8):
            said += read_until(ours, PROMPT.search)
            os.write(ours, person.answer(said).encode() + b"\n")
        said += read_until(ours, PROMPT.search)
        os.write(ours, b"\x04")  # Ctrl-D
        said += read_until(ours, lambda text: False)
        assert process.wait(20) == 4
    finally:
        process.kill()
        process.wait()
        os.close(ours)
    assert f"(+) PASS    {FIRST.id}: 0.2 ohm" in said
    assert "Stopped here." in said


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_interrupted_at_a_question(job, number):
    process, ours = spawned(job, "--stage", "dead", "--ambient", "20")
    try:
        read_until(ours, PROMPT.search)
        process.send_signal(number)
        read_until(ours, lambda text: False)
        assert process.wait(20) == 130
    finally:
        process.kill()
        process.wait()
        os.close(ours)
    assert events(job, EventKind.SESSION_ENDED) == [{"outcome": "broken off"}]
    assert verify_record(job).ok


def test_on_a_simulated_bench_nobody_is_asked(job, monkeypatch, capsys):
    with start(STARTER, seed=1) as simulated:
        Path("bench.json").write_text(json.dumps(simulated.description), encoding="utf-8")
        for stage in ("dead", "power"):
            assert piped(monkeypatch, "", "starter.job", "--stage", stage, "--bench", "bench.json") == 0
        live = ("starter.job", "--stage", "live", "--bench", "bench.json", "--acknowledge", "--json")
        code = piped(monkeypatch, "", *live, "--part-mb", "0.004", "--part-minutes", "0")
        with Bench(config_from_mapping(simulated.description)) as bench:
            assert not bench.supply.output_on
    document = json.loads(capsys.readouterr().out.rpartition("\n{\n")[2].join(("{\n", "")))
    verdicts = {entry["step"]: entry["verdict"]["outcome"] for entry in document["done"]}
    # the serial-line adapter can't report error frames, and so does not know of any
    assert {step for step, outcome in verdicts.items() if outcome != "PASS"} == {"bus_errors:can1"}
    assert code == 4
    captures = events(job, EventKind.CAPTURE)  # the record cites every part
    assert [capture["file"] for capture in captures] == [path.name for path in sorted(Path().glob("*.pcapng"))]
    assert [capture["part"] for capture in captures] == list(range(1, captures[0]["parts"] + 1))
    assert len(captures) > 1
    for capture in captures:
        assert Path(capture["file"]).stat().st_size == capture["bytes"]
    assert {capture["capture"] for capture in captures} == {"starter-live-1.pcapng"}
    # and the parts are read as one, under the name that they have in common
    assert run(["survey", "starter-live-1.pcapng", "--profile", str(STARTER), "--json"]) == 0
    surveyed = json.loads(capsys.readouterr().out)
    assert surveyed["notes"] == surveyed["recorder_gaps"] == []
    assert _capture_name(Path("starter.job")) == Path.cwd() / "starter-live-2.pcapng"


def test_interrupted_under_power_leaves_the_supply_off(job, monkeypatch):
    with start(STARTER, seed=1) as simulated:
        Path("bench.json").write_text(json.dumps(simulated.description), encoding="utf-8")
        assert piped(monkeypatch, "", "starter.job", "--stage", "dead", "--bench", "bench.json") == 0
        process, ours = spawned(job, "--stage", "power", "--bench", "bench.json")
        try:
            read_until(ours, lambda text: "PASS    no_volts:P1-3" in text)
            process.send_signal(signal.SIGINT)
            read_until(ours, lambda text: False)
            assert process.wait(20) == 130
        finally:
            process.kill()
            process.wait()
            os.close(ours)
        with Bench(config_from_mapping(simulated.description)) as bench:
            assert not bench.supply.output_on
    assert events(job, EventKind.SESSION_ENDED)[-1] == {"outcome": "broken off"}


def test_the_ambient_of_the_day_is_said_once_and_limits_go_with_it(job, monkeypatch, capsys):
    assert (
        piped(monkeypatch, "\n\n0\n0\nrel\n0.2\n", "starter.job", "--stage", "dead", "--ambient", "35", "--by", "Ann")
        == 4
    )
    err = capsys.readouterr().err
    assert "ambient: 35 C, said by Ann" in err
    assert "m at 35 C" in err
    assert piped(monkeypatch, "\n\n0\n0\nrel\n0.2\n", "starter.job", "--stage", "dead", "--by", "Ben") == 4
    assert "ambient: 35 C, said by Ann" in capsys.readouterr().err  # today it was said already
    sessions = [(body["ambient_c"], body["ambient_said_by"]) for body in events(job, EventKind.SESSION_STARTED)]
    assert sessions == [(35.0, "Ann"), (35.0, "Ann")]
    first, second = of_plan(job)[:2]
    assert first["step"] != second["step"]  # what was proved is not asked again
    assert first["basis"]["high"] < first["band"]["high"]
    assert piped(monkeypatch, "", "starter.job", "--stage", "dead", "--ambient", "warm") == 2
    assert "'warm' is no temperature" in capsys.readouterr().err


def test_without_a_terminal_the_ambient_is_the_profiles(job, monkeypatch, capsys):
    assert piped(monkeypatch, "\n\n0\n0\n0.3 0.2 0.4\n0.5\n", "starter.job", "--stage", "dead") == 4
    assert "ambient: 20 C, as the profile says" in capsys.readouterr().err
    (started,) = events(job, EventKind.SESSION_STARTED)
    assert (started["ambient_c"], started["ambient_said_by"]) == (20.0, "")
    (leads,) = events(job, EventKind.LEAD_ZERO)
    assert (leads["ohm"], leads["readings"]) == (pytest.approx(0.3), [0.3, 0.2, 0.4])
    (reading,) = [body["reading"] for body in of_plan(job)]
    assert (reading["value"], reading["detail"]["raw_ohm"]) == (pytest.approx(0.2), 0.5)
    assert reading["detail"]["typed"] == "0.5"
