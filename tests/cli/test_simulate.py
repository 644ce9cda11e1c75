"""`benchcheck simulate`: says that it serves when it does, and ends when whoever started it is gone."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from benchcheck.cli.main import run

ROOT = Path(__file__).parents[2]
PATIENCE_S = 30.0


def started(*arguments: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "benchcheck", "simulate", "starter", "--transport", "tcp", *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )


def test_it_serves_until_the_pipe_closes() -> None:
    process = started()
    try:
        assert process.stdout is not None
        assert process.stdin is not None
        assert process.stderr is not None
        assert json.loads(process.stdout.readline())["simulated"] is True
        assert b"Serving" in process.stderr.readline()
        process.stdin.close()
        assert process.wait(PATIENCE_S) == 0
        assert b"Ended." in process.stderr.read()
    finally:
        process.kill()
        process.wait()
        for stream in (process.stdout, process.stderr):
            if stream is not None:
                stream.close()


def test_nothing_is_said_to_serve_before_the_faults_file_is_read(tmp_path, capsys) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text('[[faults]]\nkind = "missing_terminator"\npart = "CB9"\n', encoding="utf-8")
    assert run(["simulate", "starter", "--faults", str(faults)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "Serving" not in err
    assert "no part 'CB9'" in err


def test_a_profile_that_is_not_there(capsys) -> None:
    assert run(["simulate", "startre"]) == 2
    assert "Did you mean 'starter'?" in capsys.readouterr().err
