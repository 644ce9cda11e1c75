"""`benchcheck ready`: what is there, what is not, and what would mend it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from live_bench import ROOT, live_bench

from benchcheck.jobs.listening.prove_silent import judge_silence

PROFILE = ("--profile", str(ROOT / "profiles" / "survey_launch"))


def ready(bench: Path, *options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "benchcheck", "ready", "--bench", str(bench), *options],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "XDG_DATA_HOME": str(bench.parent / "data")},
    )


def items(bench: Path, *options: str) -> dict[str, dict[str, str]]:
    return {item["what"]: item for item in json.loads(ready(bench, "--json", *options).stdout)["items"]}


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory):
    """A bench with two units in and powered; its supply and hands are held by whoever made it."""
    folder = tmp_path_factory.mktemp("two")
    with live_bench(folder, units=["CONV", "TIDE", "HELM"], heard=True) as (path, _, _):
        yield path


def test_everything_is_looked_at_and_what_is_taken_says_how_to_find_out_by_whom(two: Path) -> None:
    ran = ready(two, *PROFILE)
    assert ran.returncode == 3
    assert "READY     meter: BENCHCHECK-SIM" in ran.stdout
    assert "NOT READY supply" in ran.stdout
    assert "mend: fuser -v /dev/pts/" in ran.stdout
    found = items(two, *PROFILE)
    assert found["CAN adapter of can1"]["state"] == "ready"
    assert "said yes" in found["CAN adapter of can1"]["text"]
    assert found["serial port tap1"]["state"] == "ready"


def test_what_is_not_there_is_said_with_its_fault_and_no_trace(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(
        '[[can]]\nbus = "can1"\nchannel = "/dev/no-such-port"\n[[can]]\nbus = "can2"\ninterface = "no such"\n'
        'channel = "x"\n[[serial]]\nname = "tap1"\nport = "/dev/none"\n[meter]\nresource = "ASRL/dev/none2::INSTR"\n'
        '[[breakouts]]\nname = "lead A"\nfamily = "dsub25"\ngender = "pin"\nohm = 0.1\n',
        encoding="utf-8",
    )
    ran = ready(path, *PROFILE)
    assert ran.returncode == 3
    assert "Traceback" not in ran.stderr + ran.stdout
    found = items(path, *PROFILE)
    assert {what: item["state"] for what, item in found.items()} == {
        "meter": "not ready",
        "supply": "ready",
        "CAN adapter of can1": "not ready",
        "CAN adapter of can2": "not ready",
        "serial port tap1": "not ready",
        "breakout lead lead A": "doubt",
        "feeds": "doubt",
    }
    assert found["breakout lead lead A"]["mend"] == 'benchcheck breakout check "lead A"'
    assert "is not there" in found["CAN adapter of can1"]["text"]


def test_a_bench_by_hand_is_ready(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text("[meter]\nmanual = true\n", encoding="utf-8")
    assert ready(path).returncode == 0


def test_silence_can_not_be_written_into_the_file(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text('[[can]]\nbus = "can1"\nchannel = "x"\nsilence = "trust me"\n', encoding="utf-8")
    ran = ready(path)
    assert ran.returncode == 2
    assert "silence is proved, not written" in ran.stderr


def test_silence_is_not_proved_by_two_units(two: Path) -> None:
    alone = two.parent / "alone.json"
    alone.write_text(json.dumps({"can": json.loads(two.read_text())["can"]}), encoding="utf-8")
    asked = ready(alone, "--prove-silent", "can1", "--bitrate", "250000")
    assert asked.returncode == 2
    assert "nobody can be asked" in asked.stderr
    with_two = ready(alone, "--prove-silent", "can1", "--bitrate", "250000", "--yes")
    assert with_two.returncode == 1  # two units acknowledge each other
    assert "a second node acknowledges" in with_two.stdout


def test_silence_is_proved_by_a_lone_unit_and_kept(tmp_path: Path) -> None:
    with live_bench(tmp_path, units=["CONV", "TIDE"], heard=True) as (path, _, _):
        mine = tmp_path / "mine.json"
        mine.write_text(json.dumps({"can": json.loads(path.read_text())["can"]}), encoding="utf-8")
        ran = ready(mine, "--prove-silent", "can1", "--bitrate", "250000", "--yes")
        assert ran.returncode == 0, ran.stdout + ran.stderr
        assert "proved: a lone talker stayed unacknowledged" in ran.stdout
        assert "proved: a lone talker stayed unacknowledged" in items(mine, *PROFILE)["CAN adapter of can1"]["text"]


def test_what_the_two_counts_say() -> None:
    assert judge_silence(0, 50, 3.0).proved is True
    assert judge_silence(5, 50, 3.0).proved is False
    assert judge_silence(0, 0, 3.0).proved is None
