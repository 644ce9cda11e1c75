"""`benchcheck replay`, as a person or a program calls it. What a live run gives and its replay: see test_demo.py."""

from __future__ import annotations

import json
import os
import pty
import select
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from bench_stand_ins import Pty, until

from benchcheck.cli.main import run
from benchcheck.words.errors import ExitCode

CAPTURES = Path(__file__).parents[2] / "captures"
GOOD, FAULTS = CAPTURES / "launch_good.pcapng", CAPTURES / "launch_faults.pcapng"
JUDGED = ("--profile", "survey_launch")


def replay(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = run(["replay", *map(str, words)])
    said = capsys.readouterr()
    return code, said.out, said.err


def apart(*words: object) -> subprocess.CompletedProcess[str]:
    """In a process of its own: what is played is printed by another one."""
    return subprocess.run(
        [sys.executable, "-m", "benchcheck", "replay", *map(str, words)],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=120,
        check=False,
    )


def document(capsys: pytest.CaptureFixture[str], *words: object) -> dict[str, Any]:
    _, out, _ = replay(capsys, *words, *JUDGED, "--json")
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


def test_verdicts_as_lines_and_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = replay(capsys, FAULTS, *JUDGED)
    assert (code, err) == (ExitCode.FAIL, "")
    assert "FAIL    unit_heard:can1:HELM: first heard" in out
    assert out.splitlines()[-1].startswith("launch_faults.pcapng: 1649 frames; 21 PASS, 8 FAIL, 2 UNSURE, 1 SKIPPED")
    code, out, _ = replay(capsys, GOOD, *JUDGED)
    assert code == ExitCode.UNSURE  # its adapter can't tell error frames
    assert " 31 PASS, 0 FAIL, 1 UNSURE" in out


def test_the_json_is_the_same_each_time(capsys: pytest.CaptureFixture[str]) -> None:
    first, second = (document(capsys, FAULTS) for _ in range(2))
    assert first == second
    assert first["schema"] == "benchcheck.replay/1"
    assert first["source_fields"][0] == "file"
    assert first["counts"] == {"PASS": 21, "FAIL": 8, "UNSURE": 2, "SKIPPED": 1}


def test_what_is_chosen(capsys: pytest.CaptureFixture[str]) -> None:
    found = document(capsys, FAULTS, "--unit", "WINCH", "--to", "60")
    assert [body["step"] for body in found["verdicts"]] == [
        "unit_heard:can1:WINCH",
        "signal_range:can1:WINCH_TENSION.RopeTension",
    ]
    assert (found["units"], found["from_s"], found["to_s"]) == (["WINCH"], None, 60.0)


def test_a_damaged_capture_is_unsure_in_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cut = tmp_path / "cut.pcapng"
    cut.write_bytes(GOOD.read_bytes()[:40_002])
    code, out, _ = replay(capsys, cut, *JUDGED)
    assert code == ExitCode.UNSURE
    assert "UNSURE  unit_heard:can1:HELM: the capture damaged from byte" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([GOOD], "verdicts need a profile"),
        (["nowhere.pcapng", *JUDGED], "nowhere.pcapng"),
        ([Path(__file__), *JUDGED], "test_replay_command.py"),
        ([GOOD, *JUDGED, "--unit", "NOBODY"], "no unit 'NOBODY'"),
        ([GOOD, *JUDGED, "--bus", "can7"], "no bus 'can7'"),
        ([GOOD, *JUDGED, "--id", "0A0"], "not of one identifier"),
        ([GOOD, *JUDGED, "--from", "3", "--to", "3"], "no time from second 3"),
        ([GOOD, "--frames", "--unit", "NAV"], "--profile"),
        ([GOOD, "--frames", "--id", "0A"], "no identifier"),
        ([GOOD, "--frames", "--id", "FFF"], "no identifier"),
        ([GOOD, "--frames", "--json"], "lines of text"),
        ([GOOD, "--confirm", "can1"], "--onto"),
        ([GOOD, "--onto", "can1"], "--bench"),
        ([GOOD, "--speed", "0"], "--speed"),
    ],
)
def test_wrong_use_in_words(capsys: pytest.CaptureFixture[str], words: list[object], said: str) -> None:
    code, out, err = replay(capsys, *words)
    assert code == ExitCode.USAGE
    assert out == "" or json.loads(out)["schema"] == "benchcheck.error/1"
    assert said in err
    assert "Traceback" not in err


def test_frames_by_unit_and_time(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = replay(capsys, GOOD, "--frames", *JUDGED, "--unit", "WINCH", "--from", "1", "--to", "4")
    rows = [line.split(maxsplit=4) for line in out.splitlines()]
    assert code == ExitCode.PASS
    assert rows
    # what WINCH sends by the profile's message database
    assert {row[3] for row in rows} == {"0A0", "0A1", "18A10302"}
    assert all(1 <= float(row[0]) < 4 and row[1:3] == ["s,", "can1,"] for row in rows)


def test_nothing_left_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = replay(capsys, GOOD, "--frames", "--id", "7FF")
    assert (code, out) == (ExitCode.UNSURE, "")
    assert "no frame is left" in err


def test_played_frames_are_the_same_lines(capsys: pytest.CaptureFixture[str]) -> None:
    wanted = (GOOD, "--frames", "--from", "3", "--to", "5")
    _, out, _ = replay(capsys, *wanted)
    played = apart(*wanted, "--speed", "20")
    assert played.returncode == ExitCode.PASS
    assert played.stdout == out != ""
    assert "late by" in played.stderr


def test_played_as_json() -> None:
    played = apart(GOOD, "--speed", "100", "--json", "--id", "0A0")
    found = json.loads(played.stdout)
    assert (found["schema"], found["onto"]) == ("benchcheck.replay_played/1", None)
    assert found["frames"] > 10
    assert set(found["lateness"]) == {"median_ms", "p99_ms", "max_ms"}


# --- onto a bus ----------------------------------------------------------------------------------------------------


def bench_file(folder: Path, channel: str) -> Path:
    path = folder / "bench.json"
    bus = {"bus": "can1", "interface": "slcan", "channel": channel, "bitrate": 250000}
    path.write_text(json.dumps({"name": "a bench", "can": [bus]}), encoding="utf-8")
    return path


PART = ("--id", "0A0", "--from", "3", "--to", "3.5")


def test_frames_go_onto_a_bus_that_is_named_and_confirmed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = replay(capsys, GOOD, "--frames", *PART)
    data = [line.partition(" says ")[2].replace(" ", "") for line in out.splitlines()]
    assert data
    with Pty() as port:
        done = apart(GOOD, *PART, "--onto", "can1", "--bench", bench_file(tmp_path, port.name), "--confirm", "can1")
        assert done.returncode == ExitCode.PASS, done.stderr
        until(lambda: port.heard.count(b"t0A0") == len(data))
        heard = bytes(port.heard).decode("ascii")
    # as python-can's slcan interface writes a data frame: t, identifier, length, data
    assert [line[5:] for line in heard.split("\r") if line.startswith("t")] == data
    assert f"{len(data)} frames were sent onto can1" in done.stderr


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--onto", "can1"), "nobody can be asked"),
        (("--onto", "can1", "--confirm", "can2"), "nothing was sent"),
        (("--onto", "can2", "--confirm", "can2"), "no CAN adapter for can2"),
        ((), ""),
    ],
)
def test_nothing_is_sent_unless_it_is_meant(tmp_path: Path, more: tuple[str, ...], said: str) -> None:
    with Pty() as port:
        bench = ("--bench", bench_file(tmp_path, port.name)) if more else ("--speed", "100")
        done = apart(GOOD, *PART, *bench, *more)
        assert (done.returncode == ExitCode.USAGE) == bool(said)
        assert said in done.stderr
        assert not port.heard


@pytest.mark.parametrize(("typed", "sent"), [("can1", True), ("yes", False), ("", False)])
def test_a_terminal_is_asked_for_the_name(tmp_path: Path, typed: str, sent: bool) -> None:
    master, slave = pty.openpty()
    with Pty() as port:
        command = [sys.executable, "-m", "benchcheck", "replay", GOOD, *PART, "--onto", "can1", "--bench"]
        with subprocess.Popen(
            [*map(str, command), str(bench_file(tmp_path, port.name))], stdin=slave, stdout=slave, stderr=slave
        ) as process:
            os.close(slave)
            said = b""
            while b"Type can1" not in said:
                assert select.select([master], [], [], 60)[0], said
                said += os.read(master, 4096)
            assert not port.heard
            os.write(master, typed.encode() + b"\n")
            with suppress(OSError):  # the terminal's end, when the process has ended
                while more := os.read(master, 4096):
                    said += more
        os.close(master)
        if sent:
            until(lambda: b"t0A0" in port.heard)
        else:
            assert not port.heard
            assert b"nothing was sent" in said
    assert process.returncode == (ExitCode.PASS if sent else ExitCode.USAGE)
