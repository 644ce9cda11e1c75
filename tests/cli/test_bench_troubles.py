"""What is wrong with the bench itself is said, and no unit is blamed for it: the simulated bench, through the real drivers."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from live_bench import ROOT, live_bench

from benchcheck.simulator.bench_troubles import TROUBLES, checked
from benchcheck.words.errors import InputError

PROFILE = ("--profile", str(ROOT / "profiles" / "survey_launch"))


def run(bench: Path, *options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "benchcheck", *options[:1], "--bench", str(bench), *options[1:]],
        cwd=bench.parent,
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONPATH": str(ROOT), "XDG_DATA_HOME": str(bench.parent / "data")},
    )


def test_an_adapter_that_refuses_silent_mode_is_not_opened_but_where_it_may_acknowledge(tmp_path: Path) -> None:
    with live_bench(tmp_path, troubles=["refuses-silence"]) as (path, _, _):
        found = {item["what"]: item for item in json.loads(run(path, "ready", "--json").stdout)["items"]}
        assert found["CAN adapter of can1"]["state"] == "not ready"
        assert "refuses silent mode" in found["CAN adapter of can1"]["text"]
        refused = run(path, "listen", *PROFILE, "--for", "1")
        assert refused.returncode == 3
        assert "--acknowledge" in refused.stderr
        tried = run(path, "listen", "--find-bitrate", "--for", "1", "--bitrate", "250000")
        assert "this adapter can't do it by listening only" in tried.stderr
        allowed = run(path, "listen", *PROFILE, "--acknowledge", "--for", "2", "--json")
        assert "acknowledged by this bench" in allowed.stderr
        assert {unit["verdict"] for unit in json.loads(allowed.stdout)["units"]} == {"PASS"}


@pytest.mark.parametrize("trouble", ["loses-frames", "garbles"])
def test_what_the_bench_loses_is_counted_and_no_unit_fails_for_it(tmp_path: Path, trouble: str) -> None:
    with live_bench(tmp_path, troubles=[trouble]) as (path, _, _):
        ran = run(path, "listen", *PROFILE, "--for", "4", "--json")
    said = json.loads(ran.stdout)
    assert "FAIL" not in {unit["verdict"] for unit in said["units"]}
    if trouble == "loses-frames":
        assert said["dropped_frames"] > 0
        assert said["recorder_gaps"]
        assert "frames lost in the adapter" in ran.stderr
    else:
        assert "garbled" in ran.stderr


def test_bus_errors_that_the_adapter_only_tells_in_its_status_are_shown(tmp_path: Path) -> None:
    with live_bench(tmp_path, troubles=["sees-errors"]) as (path, _, _):
        ran = run(path, "listen", *PROFILE, "--for", "3")
    assert "controller: bus error" in ran.stderr


def test_a_trouble_that_there_is_not_is_said() -> None:
    assert checked(TROUBLES) == frozenset(TROUBLES)
    with pytest.raises(InputError, match="no trouble 'rust'"):
        checked(["rust"])
