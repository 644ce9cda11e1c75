"""`benchcheck survey --signal`: what signals did, and limits of the profile judged from a recording."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from frame_rows import batch_of
from model_bench import shipped

from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.cli.main import run
from benchcheck.harness.model import SignalRange

START = 1_700_000_000_000_000_000
MS = 1_000_000
PROFILE = Path(__file__).parents[2] / "profiles" / "survey_launch"


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    """MRU_ATTITUDE twenty times: roll from 0 on by 0.5 degrees, pitch always -1 degree; the last frame is cut short."""
    rows = [
        (START + k * 50 * MS, 0, 0x80, 0, (k * 100).to_bytes(2, "little") + b"\x38\xff" + bytes(4)) for k in range(20)
    ]
    rows.append((START + 1000 * MS, 0, 0x80, 0, b"\x01\x00"))
    path = tmp_path / "roll.pcapng"
    with CaptureWriter(path) as writer:
        writer.write_frames(writer.add_bus("can1", 250_000), batch_of(rows))
    return path


def survey(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    code = run(["survey", *map(str, words), "--profile", str(PROFILE), "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_a_signal_that_is_asked_for_is_told(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, found = survey(
        capsys,
        capture,
        "--signal",
        "MRU_ATTITUDE.Pitch",
        "--signal",
        "AttitudeCount",
        "--signal",
        "Roll",
        "--signal",
        "Roll",
    )
    told = {entry["signal"]: entry for entry in found["signals"]}
    pitch, roll = told["MRU_ATTITUDE.Pitch"], told["MRU_ATTITUDE.Roll"]
    assert (roll["bus"], roll["signal"], roll["unit"]) == ("can1", "MRU_ATTITUDE.Roll", "deg")
    assert (roll["frames"], roll["too_short"]) == (21, 0)
    assert (roll["low"], roll["high"], roll["changes"]) == (0.0, 9.5, 20)
    assert (pitch["frames"], pitch["too_short"], pitch["low"], pitch["high"]) == (20, 1, -1.0, -1.0)
    assert (pitch["changes"], pitch["longest_still_s"]) == (0, 0.95)
    count = told["MRU_ATTITUDE.AttitudeCount"]
    assert (count["limits"], count["verdict"], count["changes"]) == (None, None, 0)
    # those that the profile has limits for are told and judged, asked for or not
    assert (roll["verdict"], roll["state"]) == ("PASS", "in_range")
    assert "AttitudeCount" not in str(survey(capsys, capture)[1]["signals"])


def test_it_is_shown_in_a_line(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["survey", str(capture), "--profile", str(PROFILE), "--signal", "Pitch"])
    out = capsys.readouterr().out
    assert any(line.split()[:4] == ["MRU_ATTITUDE.Pitch", "20", "-1", "-1"] for line in out.splitlines())
    assert "    1 frame was too short to have it" in out


def test_the_profiles_limits_are_judged(
    capture: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    harness = shipped("survey_launch")[0]
    message = next(entry for entry in harness.buses[0].messages if entry.name == "MRU_ATTITUDE")
    roll, pitch = message.signals[:2]
    limits = (SignalRange("can1", message, roll, -5.0, 5.0), SignalRange("can1", message, pitch, stuck_s=0.5))
    monkeypatch.setattr("benchcheck.profile.load.load_profile", lambda folder: replace(harness, signals=limits))
    code, found = survey(capsys, capture)
    assert code == 1
    assert [(entry["verdict"], entry["state"]) for entry in found["signals"]] == [("FAIL", "absurd"), ("FAIL", "stuck")]
    assert found["signals"][0]["text"].startswith("MRU_ATTITUDE.Roll was 9.5 deg at 0.950 s")


def test_a_name_that_nobody_knows_is_refused(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["survey", str(capture), "--profile", str(PROFILE), "--signal", "Rol"]) == 2
    assert "Did you mean 'Roll'?" in capsys.readouterr().err
    assert run(["survey", str(capture), "--signal", "Roll"]) == 2
    assert "--profile" in capsys.readouterr().err
