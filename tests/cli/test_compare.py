"""`benchcheck compare`, as a person or a program calls it."""

from __future__ import annotations

import json
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from frame_rows import batch_of

from benchcheck.capture.logs import open_recording
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.cli.main import run
from benchcheck.words.frames import FrameBatch

ROOT = Path(__file__).parents[2]
GOOD, FAULTS = ROOT / "captures" / "launch_good.pcapng", ROOT / "captures" / "launch_faults.pcapng"
RECORDINGS = ROOT / "tests" / "data" / "recordings"
MARINE = RECORDINGS / "marine_can_250k.log"
START = 1_700_000_000_000_000_000


def compared(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    """Exit code and JSON."""
    code = run(["compare", *map(str, words), "--json"])
    return code, json.loads(capsys.readouterr().out)


def of_grade(document: dict[str, Any], grade: str) -> set[tuple[str, str]]:
    return {(change["kind"], change["what"]) for change in document["changes"] if change["grade"] == grade}


def test_the_planted_faults_are_what_changed(capsys: pytest.CaptureFixture[str]) -> None:
    """Live faults of the demo (benchcheck/simulator/demo_faults.toml): a late, a silent and an intermittent unit, a
    wrong speed; lines that are cut or crossed fall silent."""
    code, document = compared(capsys, GOOD, FAULTS, "--profile", "survey_launch")
    assert code == 1
    assert (document["schema"], document["verdict"], document["comparable"]) == (
        "benchcheck.compare/1",
        "FAIL",
        "compared",
    )
    assert of_grade(document, "grave") == {
        *(("unit", unit) for unit in ("HELM", "TIDE", "WINCH")),
        *(("talk", f"{link}:{unit}") for link, unit in (("tide", "TIDE"), ("depth", "SONAR"), ("logging", "LOG"))),
        *(("talk", f"sound speed:{unit}") for unit in ("SVP", "SONAR")),
        *(("gaps", can_id) for can_id in ("0A0", "0A1")),
    }
    assert of_grade(document, "unsure") == {("talk", "position:GNSS")}
    assert {change["kind"] for change in document["changes"]} <= {"unit", "talk", "gaps", "values"}
    grades = [change["grade"] for change in document["changes"]]
    assert grades == sorted(grades, key=["grave", "unsure", "lesser", "better"].index)


def test_without_a_profile_it_tells_identifiers(capsys: pytest.CaptureFixture[str]) -> None:
    code, document = compared(capsys, GOOD, FAULTS)
    assert code == 1
    gone = {("identifier gone", "140"), ("identifier gone", "18A10309")}
    assert of_grade(document, "grave") == gone | {("line", "logging:LOG"), ("gaps", "0A0"), ("gaps", "0A1")}


def test_mended_is_better_and_no_fail(capsys: pytest.CaptureFixture[str]) -> None:
    code, document = compared(capsys, FAULTS, GOOD, "--profile", "survey_launch")
    assert code == 0
    assert {change["grade"] for change in document["changes"]} == {"better"}


def test_the_same_recording_has_not_changed(capsys: pytest.CaptureFixture[str]) -> None:
    assert compared(capsys, GOOD, GOOD)[0] == 0
    assert run(["compare", str(GOOD), str(GOOD)]) == 0
    assert "nothing changed beyond its own scatter" in capsys.readouterr().out


def test_halves_of_a_sound_bench_are_alike(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    with open_recording(GOOD, gathered=True) as recording:
        batches = [item for item in recording if isinstance(item, FrameBatch)]
    names = [field.name for field in fields(FrameBatch)]
    columns = [np.concatenate([getattr(batch, name) for batch in batches]) for name in names]
    middle = len(columns[0]) // 2
    for name, part in (("a.pcapng", slice(middle)), ("b.pcapng", slice(middle, None))):
        with CaptureWriter(tmp_path / name) as writer:
            writer.write_frames(writer.add_bus("can1", 250_000), FrameBatch(*(column[part] for column in columns)))
    code, document = compared(capsys, tmp_path / "a.pcapng", tmp_path / "b.pcapng", "--profile", "survey_launch")
    assert code == 0
    # slow values go on from one half to the next; nothing else does
    assert {(change["grade"], change["kind"]) for change in document["changes"]} <= {("lesser", "values")}


def test_halves_of_a_real_recording_are_alike(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Its units send throughout; one-shot and multi-frame messages are no reason for a FAIL."""
    lines = MARINE.read_text().splitlines(keepends=True)
    half = len(lines) // 2
    (tmp_path / "a.log").write_text("".join(lines[:half]))
    (tmp_path / "b.log").write_text("".join(lines[half:]))
    code, document = compared(capsys, tmp_path / "a.log", tmp_path / "b.log", "--bitrate", 250_000)
    assert code == 4
    assert of_grade(document, "grave") == set()
    assert {kind for kind, _ in of_grade(document, "unsure")} <= {"identifier gone", "identifier new"}
    assert {kind for kind, _ in of_grade(document, "lesser")} <= {"values"}


def test_too_short_is_unsure(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "a.log").write_text("".join(MARINE.read_text().splitlines(keepends=True)[:3]))
    code, document = compared(capsys, tmp_path / "a.log", tmp_path / "a.log")
    assert (code, document["comparable"]) == (4, "too short")
    assert run(["compare", str(tmp_path / "a.log"), str(tmp_path / "a.log")]) == 4
    assert "too short to compare" in capsys.readouterr().out


def test_raw_bytes_of_lines(capsys: pytest.CaptureFixture[str]) -> None:
    one, other = RECORDINGS / "chartplotter_0183.nmea", RECORDINGS / "heading_receiver_0183.nmea"
    code, document = compared(capsys, one, other, "--line", "nmea0183")
    assert code == 1
    before, after = (json.loads(path.with_suffix(".facts.json").read_text())["per_type"] for path in (one, other))
    assert {what for kind, what in of_grade(document, "grave") if kind == "type"} == set(before) - set(after)


def test_plain_is_a_line_a_change(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", str(GOOD), str(FAULTS), "--plain"]) == 1
    *changes, last = capsys.readouterr().out.splitlines()
    assert last == "FAIL\tcompared"
    assert {len(line.split("\t")) for line in changes} == {5}
    assert changes[0].startswith("grave\tidentifier gone\tcan1\t140\t")


@pytest.mark.parametrize("words", [["none.log", str(GOOD)], [str(GOOD)], [str(GOOD), str(GOOD), "--bitrate", "5"]])
def test_bad_input(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", *words]) == 2
    assert capsys.readouterr().out == ""


def with_roll(path: Path, raw: list[int]) -> Path:
    """The launch's attitude every 50 ms, with this roll in steps of 0.005 degrees."""
    rows = [
        (START + k * 50_000_000, 0, 0x80, 0, (r & 0xFFFF).to_bytes(2, "little") + bytes(6)) for k, r in enumerate(raw)
    ]
    with CaptureWriter(path) as writer:
        writer.write_frames(writer.add_bus("can1", 250_000), batch_of(rows))
    return path


def test_values_are_told_as_signals_where_the_profile_knows_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    calm = [200 * (k % 5) for k in range(120)]  # 0 to 4 degrees
    a, b = with_roll(tmp_path / "a.pcapng", calm), with_roll(tmp_path / "b.pcapng", [*calm[:60], 8000, *calm[61:]])
    _, document = compared(capsys, a, b, "--profile", "survey_launch")
    (change,) = [entry for entry in document["changes"] if entry["kind"] == "values"]
    assert change["what"] == "MRU_ATTITUDE.Roll"
    assert change["text"] == "MRU_ATTITUDE.Roll of 080 (MRU) is 0 to 40 deg now, before 0 to 4 deg"
    assert (change["before"]["unit"], change["after"]["high"]) == ("deg", 40.0)
    assert "signals" in document["rules"]
    _, document = compared(capsys, a, b)
    (change,) = [entry for entry in document["changes"] if entry["kind"] == "values"]
    assert change["what"] == "080"
    assert "byte 1" in change["text"]
