"""`benchcheck survey` where a recording leaves something open: load, form, talks, steps of the clock, odd files."""

from __future__ import annotations

import csv
import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import can
import pytest

from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.cli.main import run
from benchcheck.harness.model import Harness, Link, Talk

ROOT = Path(__file__).parents[2]
MARINE = Path(__file__).parents[1] / "data" / "recordings" / "marine_can_250k.log"
START = 1_700_000_000_000_000_000
S = 1_000_000_000
GOOD = b"$GPBOD,,T,,M,,*47\r\n"


def survey(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    code = run(["survey", *map(str, words), "--json"])
    out = capsys.readouterr().out
    return code, json.loads(out) if out else {}


def text_of(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str]:
    code = run(["survey", *map(str, words)])
    return code, capsys.readouterr().out


def log(path: Path, lines: list[str]) -> Path:
    path.write_text("".join(line + "\n" for line in lines))
    return path


def steady(count: int, start: float = 1000.0) -> list[str]:
    return [f"({start + k / 100:.2f}) can0 100#0011223344556677" for k in range(count)]


# --- load ---


def test_a_load_above_100_percent_is_unsure_and_told(capsys: pytest.CaptureFixture[str]) -> None:
    code, said = survey(capsys, MARINE, "--bitrate", 5000)
    assert code == 4
    assert said["buses"][0]["load_mean_percent"] > 100
    assert said["notes"] == [
        "bus can0: a load of 186 % is more than a bus can carry: the bit rate of 5,000 bit/s can't be right"
    ]
    code, out = text_of(capsys, MARINE, "--bitrate", 5000)
    assert code == 4
    assert "can't be right" in out


@pytest.mark.parametrize("option", ["--bitrate", "--data-bitrate"])
@pytest.mark.parametrize("rate", ["0", "-1", "250", "999", "8000001", "9" * 40, "250k", "2.5e5", "²"])
def test_bit_rates_out_of_reason_are_wrong_use(option: str, rate: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["survey", str(MARINE), f"{option}={rate}"]) == 2
    said = capsys.readouterr().err
    assert option in said
    assert "from 1000 to 8000000" in said


@pytest.mark.parametrize("rate", ["1000", "8000000"])
def test_the_ends_of_the_range_are_taken(rate: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, said = survey(capsys, MARINE, "--bitrate", rate)
    assert said["buses"][0]["bitrate"] == int(rate)
    assert code == (4 if rate == "1000" else 0)


def test_without_the_load_no_bit_rate_is_needed(capsys: pytest.CaptureFixture[str]) -> None:
    code, said = survey(capsys, MARINE, "--no-load")
    (bus,) = said["buses"]
    assert code == 0
    assert bus["bitrate"] is None
    assert {value for key, value in bus.items() if key.startswith("load_") and key.endswith("percent")} == {None}
    assert (bus["frames"], len(bus["gaps"])) == (10495, 8)
    assert "--no-load" in said["notes"][0]
    code, out = text_of(capsys, MARINE, "--no-load")
    assert code == 0
    assert "bit rate not known: 10,495 frames" in out
    assert "  load not known\n" in out


def test_the_refusal_tells_of_no_load_and_both_at_once_are_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["survey", str(MARINE)]) == 2
    assert "--no-load" in capsys.readouterr().err
    assert run(["survey", str(MARINE), "--no-load", "--bitrate", "250000"]) == 2
    assert "--no-load" in capsys.readouterr().err


def test_records_that_were_not_counted_make_the_load_a_lower_bound(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = log(tmp_path / "a.log", [*steady(200), "(1002.00) can0 100#0", *steady(200, 1003)])
    code, said = survey(capsys, path, "--bitrate", 250_000)
    assert code == 0
    assert said["notes"] == ["the load is at least what is said: 1 record could not be counted"]
    assert said["buses"][0]["load_is_lower_bound"] is True
    _, out = text_of(capsys, path, "--bitrate", 250_000)
    assert "warning: 1 bad record was passed over" in out
    assert "load at least" in out
    _, clean = survey(capsys, log(tmp_path / "b.log", steady(200)), "--bitrate", 250_000)
    assert clean["buses"][0]["load_is_lower_bound"] is False


# --- forms without a channel ---


def messages() -> list[can.Message]:
    made = [
        can.Message(timestamp=1000 + k / 10, arbitration_id=0x100, is_extended_id=False, data=bytes(8))
        for k in range(40)
    ]
    for at, size in ((5, 12), (6, 64)):
        made[at] = can.Message(
            timestamp=1000 + at / 10, arbitration_id=0x100, is_extended_id=False, is_fd=True, data=bytes(size)
        )
    return made


@pytest.mark.parametrize("suffix", [".csv", ".db"])
def test_forms_without_a_channel_say_so_and_leave_fd_frames_out(
    suffix: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / f"a{suffix}"
    if suffix == ".csv":
        with can.CSVWriter(path) as writer:
            for message in messages():
                writer.on_message_received(message)
    else:  # the columns as python-can's SqliteWriter makes them; its thread is not needed here
        table = sqlite3.connect(path)
        table.execute(
            "CREATE TABLE messages (ts REAL, arbitration_id INTEGER, extended INTEGER, remote INTEGER, error INTEGER,"
            " dlc INTEGER, data BLOB)"
        )
        table.executemany(
            "INSERT INTO messages VALUES (?, ?, 0, 0, 0, ?, ?)",
            [(m.timestamp, m.arbitration_id, m.dlc, bytes(m.data)) for m in messages()],
        )
        table.commit()
        table.close()
    code, said = survey(capsys, path, "--bitrate", 250_000)
    assert code == 0
    assert (said["frames"], said["bad_records"]) == (38, 2)
    channel, fd, load = said["notes"]
    assert "on which bus" in channel
    assert "2 records have more than 8 bytes" in fd
    assert "at least" in load
    assert "2 records could not be counted" in load
    assert said["buses"][0]["load_is_lower_bound"] is True


def test_a_form_with_channels_says_nothing_of_them(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    with can.ASCWriter(tmp_path / "a.asc") as writer:
        for message in messages():
            message.channel = 0
            writer.on_message_received(message)
    _, said = survey(capsys, tmp_path / "a.asc", "--bitrate", 250_000)
    assert (said["frames"], said["bad_records"]) == (40, 0)
    assert said["notes"] == []


def test_a_csv_frame_of_twelve_bytes_is_not_cut_to_a_classic_one(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    with can.CSVWriter(tmp_path / "a.csv") as writer:
        writer.on_message_received(messages()[5])
    with (tmp_path / "a.csv").open() as file:
        assert len(list(csv.reader(file))) == 2
    code, said = survey(capsys, tmp_path / "a.csv", "--bitrate", 250_000)
    assert code == 4
    assert (said["frames"], said["bad_records"]) == (0, 1)


# --- steps of the clock ---


def test_the_text_goes_by_what_was_recorded(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    lines = steady(300)
    lines[150] = lines[150].replace("(1001.50)", "(932.78)")  # a flipped bit of a stamp: 68.72 s back
    path = log(tmp_path / "a.log", lines)
    code, said = survey(capsys, path, "--bitrate", 250_000)
    (bus,) = said["buses"]
    assert code == 0
    assert said["duration_s"] == 2.99
    assert said["recorded_s"] == 2.97
    assert bus["load_mean_recorded_percent"] == pytest.approx(100 * bus["wire_bits"] / 2.97 / 250_000, abs=1e-6)
    assert [step["step_s"] for step in said["clock_steps"]] == [-68.71]
    _, out = text_of(capsys, path, "--bitrate", 250_000)
    assert "300 frames, 2.970 s" in out
    mean, peak = bus["load_mean_recorded_percent"], bus["load_peak_recorded_percent"]
    assert f"load {mean:.2f} % mean, {peak:.2f} % in the fullest second" in out


def test_too_short_for_a_peak_is_said_in_words(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    _, out = text_of(capsys, log(tmp_path / "a.log", steady(50)), "--bitrate", 250_000)
    assert "% mean, no whole second to tell the fullest one" in out
    _, out = text_of(capsys, log(tmp_path / "b.log", steady(1)), "--bitrate", 250_000)
    assert "b.log: 1 frame\n" in out
    assert "  load not known\n" in out


# --- talks ---


@pytest.fixture
def bay(monkeypatch: pytest.MonkeyPatch) -> Harness:
    """A profile of links alone; reading profile folders has tests of its own."""
    position = Link("position", "nmea0183", 4800, (Talk("P1-3", "P2-2", "GNSS", ("GPBOD",), 0.5),), "P1-5", "P1")
    talks = (Talk("P3-3", "P4-2", "TIDE", ("LEVEL",), 1.0), Talk("P4-3", "P3-2", "NAV", (), 1.0))
    tide = Link("tide", "text", 9600, talks, "P3-5", "P3")
    made = Harness("bay", "A bay", 20.0, "GND1", {}, (), (), {}, (), (), (position, tide))
    monkeypatch.setattr("benchcheck.profile.load.load_profile", lambda folder: made)
    return made


def lines(path: Path, **said: bytes) -> Path:
    """A capture of 10 s with a line for each key (`position__GNSS`), on which its bytes came."""
    with CaptureWriter(path) as writer:
        for name, data in said.items():
            line = writer.add_line(name.replace("__", ":"), "", 9600)
            if data:
                writer.write_bytes(line, START, data)
                writer.write_bytes(line, START + 10 * S, data)
    return path


def states(said: dict[str, Any]) -> dict[str, tuple[str, str]]:
    return {f"{talk['link']}:{talk['sender']}": (talk["verdict"], talk["state"]) for talk in said["talks"]}


def test_all_talks_heard(capsys: pytest.CaptureFixture[str], tmp_path: Path, bay: Harness) -> None:
    path = lines(tmp_path / "a.pcapng", position__GNSS=GOOD, tide__TIDE=b"LEVEL 1\n", tide__NAV=b"OK\n")
    code, said = survey(capsys, path, "--profile", tmp_path)
    assert code == 0
    assert set(states(said).values()) == {("PASS", "heard")}
    assert [talk["line"] for talk in said["talks"]] == ["position:GNSS", "tide:TIDE", "tide:NAV"]
    assert said["lines"][0]["protocol"] == "nmea0183"  # told by the profile, the capture does not say


def test_garbage_and_silence_fail_and_what_was_not_listened_to_is_unsure(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, bay: Harness
) -> None:
    path = lines(tmp_path / "a.pcapng", position__GNSS=bytes(range(128, 228)), tide__TIDE=b"")
    code, said = survey(capsys, path, "--profile", tmp_path)
    assert code == 1
    assert states(said) == {
        "position:GNSS": ("FAIL", "garbage"),
        "tide:TIDE": ("FAIL", "silent"),
        "tide:NAV": ("UNSURE", "not listened"),
    }
    _, out = text_of(capsys, path, "--profile", tmp_path)
    assert "talks of the links, by the profile bay" in out
    assert "UNSURE  tide:NAV             not listened" in out


def test_one_talk_not_listened_to_among_others_is_unsure(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, bay: Harness
) -> None:
    path = lines(tmp_path / "a.pcapng", position__GNSS=GOOD, tide__TIDE=b"LEVEL 1\n")
    code, said = survey(capsys, path, "--profile", tmp_path)
    assert code == 4
    assert states(said)["tide:NAV"] == ("UNSURE", "not listened")


def test_a_log_without_any_line_is_not_unsure_for_the_talks(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, bay: Harness
) -> None:
    code, said = survey(capsys, log(tmp_path / "a.log", steady(200)), "--profile", tmp_path, "--bitrate", 250_000)
    assert code == 0
    assert {state for _, state in states(said).values()} == {"not listened"}


def test_without_a_profile_there_are_no_talks(capsys: pytest.CaptureFixture[str]) -> None:
    _, said = survey(capsys, MARINE, "--bitrate", 250_000)
    assert "talks" not in said


def test_the_captures_that_come_along(capsys: pytest.CaptureFixture[str]) -> None:
    profile = ROOT / "profiles" / "survey_launch"
    code, said = survey(capsys, ROOT / "captures" / "launch_good.pcapng", "--profile", profile)
    assert code == 0
    assert set(states(said).values()) == {("PASS", "heard")}
    code, said = survey(capsys, ROOT / "captures" / "launch_faults.pcapng", "--profile", profile)
    assert code == 1
    assert states(said)["logging:LOG"] == ("FAIL", "garbage")  # its fault is a wrong baud rate
    assert states(said)["position:GNSS"] == ("UNSURE", "not listened")  # nothing ever came


# --- odd files ---


def test_help_names_captures_that_exist(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["survey", "--help"]) == 0
    named = [word for word in capsys.readouterr().out.split() if word.startswith("captures/")]
    assert named
    assert all((ROOT / name).is_file() for name in named)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize("more", [["--bitrate", "250000"], ["--line", "nmea0183"]])
def test_a_pipe_is_refused_and_not_waited_for(
    more: list[str], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    os.mkfifo(tmp_path / "a.log")
    assert run(["survey", str(tmp_path / "a.log"), *more]) == 2
    assert "is no plain file" in capsys.readouterr().err


@pytest.mark.parametrize("more", [["--bitrate", "250000"], ["--line", "nmea0183"]])
def test_a_dash_is_refused(more: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["survey", "-", *more]) == 2
    assert "is no plain file" in capsys.readouterr().err


@pytest.mark.skipif(not Path("/dev/stdin").exists(), reason="this system has no /dev/stdin")
def test_what_comes_through_a_pipe_is_refused() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchcheck", "survey", "/dev/stdin", "--bitrate", "250000"],
        input=MARINE.read_bytes(),
        capture_output=True,
        check=False,
        cwd=ROOT,
        timeout=60,
    )
    assert done.returncode == 2
    assert b"is no plain file" in done.stderr
