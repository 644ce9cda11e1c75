"""How commands fail: an error object where JSON was asked for, few lines for many faults, and an output that is full."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from benchcheck.cli.failure import MOST_LISTED, wants_json
from benchcheck.cli.main import run

ROOT = Path(__file__).parents[2]
STARTER = ROOT / "profiles" / "starter"


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["review", "x", "--json"], True),
        (["review", "x"], False),
        (["review", "--", "--json"], False),
        (["report", "x.job", "--json", "-"], True),
        (["report", "x.job", "--json=-"], True),
        (["report", "x.job", "--json", "out.json"], False),
        ([], False),
    ],
)
def test_when_json_is_wanted(words, expected):
    assert wants_json(words) is expected


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["review", "nosuch", "--json"], 2, "nosuch"),
        (["review", "--json"], 2, "Missing argument"),
        (["plan", "nosuch", "--json"], 2, "nosuch"),
        (["check", "none.job", "--stage", "dead", "--json"], 2, "no job record"),
        (["check", "none.job", "--json"], 2, "nothing to run"),
        (["job", "show", "none.job", "--json"], 2, "no job record"),
        (["job", "verify", "none.job", "--json"], 2, "no job record"),
        (["job", "list", "nowhere", "--json"], 2, "no such folder"),
        (["report", "none.job", "--json", "-"], 2, "no job record"),
    ],
)
def test_every_command_says_in_json_why_it_failed(tmp_path, monkeypatch, capsys, words, code, says):
    monkeypatch.chdir(tmp_path)
    assert run(words) == code
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert document["schema"] == "benchcheck.error/1"
    assert set(document) == {"schema", "error", "where", "hint", "exit_code", "faults"}
    assert says in document["error"]
    assert document["exit_code"] == code
    assert says in err  # for the person as well


def test_thousands_of_faults_are_counted_and_some_of_them_listed(tmp_path, capsys):
    for name in ("harness.toml", "pins.csv"):
        (tmp_path / name).write_bytes((STARTER / name).read_bytes())
    rows = "".join(f"X{number},P1-99,P2-1,22,1.0,signal,,,red,\n" for number in range(3000))
    with (tmp_path / "pins.csv").open("a", encoding="utf-8") as sink:
        sink.write(rows)
    assert run(["review", str(tmp_path)]) == 2
    err = capsys.readouterr().err
    assert len(err.splitlines()) < 2 * MOST_LISTED + 10
    assert run(["review", str(tmp_path), "--json"]) == 2
    out, again = capsys.readouterr()
    faults = json.loads(out)["faults"]
    assert len(faults) >= 3000
    assert f"and {len(faults) - MOST_LISTED} more" in again


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
@pytest.mark.parametrize("words", [["--help"], ["plan", "starter"], ["review", "starter", "--json"]])
def test_an_output_that_is_full(words):
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "benchcheck", *words],
            stdout=full,
            stderr=subprocess.PIPE,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            check=False,
        )
    assert done.returncode == 3
    assert b"the output can't be written: No space left on device" in done.stderr
    assert b"internal error" not in done.stderr
    assert b"Exception ignored" not in done.stderr


def test_a_reader_that_goes_away_is_no_failure():
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "benchcheck", "plan", "starter"],
            stdout=writing,
            stderr=subprocess.PIPE,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            check=False,
        )
    finally:
        os.close(writing)
    assert (done.returncode, done.stderr) == (0, b"")
