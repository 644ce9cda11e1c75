"""`benchcheck listen` on the simulated bench, through the real drivers."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from live_bench import ROOT, live_bench

from benchcheck.cli.main import run


def listen(bench: Path, *options: str, **kwargs: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "benchcheck", "listen", "--bench", str(bench), *options],
        cwd=bench.parent,
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        **kwargs,  # type: ignore[call-overload]
    )


PROFILE = ("--profile", str(ROOT / "profiles" / "survey_launch"))


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory):
    with live_bench(tmp_path_factory.mktemp("live"), taps=2) as (path, _, harness):
        talkers = [f"{link.name}:{talk.sender}" for link in harness.links for talk in link.talks]
        yield path, talkers


def test_it_ends_when_all_are_present_and_says_what_survey_says_of_its_capture(bench) -> None:
    path, talkers = bench
    capture = path.parent / "all.pcapng"
    ran = listen(
        path,
        *PROFILE,
        "--until-present",
        "--for",
        "30",
        "--tap",
        f"tap1={talkers[0]}",
        "--tap",
        f"tap2={talkers[1]}",
        "--capture",
        str(capture),
        "--json",
    )
    assert "All are present after" in ran.stderr
    assert "> can1 NAV: present" in ran.stderr
    said = json.loads(ran.stdout)
    surveyed = subprocess.run(
        [sys.executable, "-m", "benchcheck", "survey", str(capture), *PROFILE, "--json"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert json.loads(surveyed.stdout) == said
    assert surveyed.returncode == ran.returncode == 4  # the other talkers were not listened to
    assert {unit["verdict"] for unit in said["units"]} == {"PASS"}
    assert [talk["state"] for talk in said["talks"]][:2] == ["heard", "heard"]
    assert said["recorder_gaps"] == []


def test_bit_rate_and_speed_are_found_by_listening(bench) -> None:
    path, _ = bench
    ran = listen(
        path, "--bitrate", "500000", "--find-bitrate", "--tap", "tap1", "--baud", "9600", "--find-speed", "--for", "0.3"
    )
    assert "250000 bit/s: " in ran.stderr
    assert "looks like 4800 8N1, profile says 9600 8N1" in ran.stderr
    assert "bus can1, 250,000 bit/s" in ran.stdout
    assert ran.returncode == 0
    assert len(list(path.parent.glob("listen-*.pcapng"))) == 1


def test_ctrl_c_ends_it_in_order(bench) -> None:
    path, _ = bench
    capture = path.parent / "ended.pcapng"
    with subprocess.Popen(
        [
            sys.executable,
            "-m",
            "benchcheck",
            "listen",
            "--bench",
            str(path),
            "--capture",
            str(capture),
            "--bitrate",
            "250000",
        ],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stderr is not None
        assert "silent mode" in process.stderr.readline()
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert "Ended." in err
    assert "Traceback" not in err
    assert "bus can1" in out
    assert capture.stat().st_size > 1000


def test_a_capture_is_never_written_over_and_wrong_names_are_said(bench, capsys: pytest.CaptureFixture[str]) -> None:
    path, _ = bench
    there = path.parent / "there.pcapng"
    there.write_bytes(b"mine")
    assert run(["listen", "--bench", str(path), "--capture", str(there), "--for", "1"]) == 2
    assert "is there already" in capsys.readouterr().err
    assert there.read_bytes() == b"mine"
    for options, text in (
        (("--bus", "can9"), "no CAN adapter for can9"),
        (("--tap", "tap99"), "no serial port 'tap99'"),
        (("--tap", "tap1=nobody:X"), "links stand in a profile"),
        (("--tap", "tap1=nobody:X", *PROFILE), "no talker 'nobody:X'"),
        (("--until-present",), "stands in a profile"),
    ):
        assert run(["listen", "--bench", str(path), *options, "--for", "1"]) == 2
        assert text in capsys.readouterr().err


def test_a_bench_that_is_not_there_is_said_and_leaves_no_capture(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text('name = "x"\n[[can]]\nbus = "can1"\nchannel = "/dev/no-such-port"\n', encoding="utf-8")
    ran = listen(path, "--for", "1", "--bitrate", "250000")
    assert ran.returncode == 3
    assert "is not there" in ran.stderr
    assert not list(tmp_path.glob("*.pcapng"))


def test_an_adapter_that_is_pulled_out_is_link_lost_and_no_unit_is_blamed(tmp_path: Path) -> None:
    capture = tmp_path / "pulled.pcapng"
    with live_bench(tmp_path) as (path, _, _):
        name = tmp_path / "by-id"
        name.symlink_to(json.loads(path.read_text())["can"][0]["channel"])
        mine = tmp_path / "mine.json"
        mine.write_text(json.dumps({"name": "mine", "can": [{"bus": "can1", "channel": str(name)}]}), encoding="utf-8")
        process = subprocess.Popen(
            [sys.executable, "-m", "benchcheck", "listen", "--bench", str(mine), *PROFILE, "--capture", str(capture)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert process.stderr is not None
        while "9 of 9 present" not in process.stderr.readline():
            pass
        name.unlink()  # as the system takes such a link away: its number may be another's soon
    with process:
        while "link lost" not in process.stderr.readline():
            pass
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert "Traceback" not in err
    assert process.returncode in (0, 4)
    assert "could not be read" in out
    assert "FAIL" not in out
