"""Units that the profile tells by their sources: in survey, compare and replay, on a real recording.

Source of the recording and of its facts: tests/data/recordings/README.md (Debian source package gpsd 3.22).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from sample_profile import FILES

from benchcheck.cli.main import run

RECORDINGS = Path(__file__).parents[1] / "data" / "recordings"
MARINE = RECORDINGS / "marine_can_250k.log"
FACTS = json.loads((RECORDINGS / "marine_can_250k.facts.json").read_text())
NETWORK = 'network = "net.dbc"\n'

SOURCES = """
[[buses.sources]]
unit = "NAV"
address = 0x02
period_s = 0.1
[[buses.sources]]
unit = "NAV"
group = 0x1F805
address = 0x02
period_s = 1.0
multi_frame = true
[[buses.sources]]
unit = "LOG"
address = 0xB0
period_s = 1.5
[[buses.sources]]
unit = "LOG"
id = 0x18EEFF11
"""


def profile(folder: Path, sources: str = SOURCES) -> Path:
    """The sample profile, whose bus knows its units by these sources alone."""
    for name, text in FILES.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text.replace(NETWORK, sources) if name == "harness.toml" else text)
    return folder


def told(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    code = run([*map(str, words), "--json"])
    return code, json.loads(capsys.readouterr().out)


def halves(folder: Path) -> tuple[Path, Path]:
    lines = MARINE.read_text().splitlines(keepends=True)
    paths = folder / "a.log", folder / "b.log"
    for path, part in zip(paths, (lines[: len(lines) // 2], lines[len(lines) // 2 :]), strict=True):
        path.write_text("".join(part))
    return paths


def test_survey(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, document = told(capsys, "survey", MARINE, "--profile", profile(tmp_path / "bay"))
    units = {unit["unit"]: unit for unit in document["units"]}
    facts = FACTS["per_source_address"]
    assert (units["NAV"]["verdict"], units["NAV"]["state"]) == ("PASS", "present")
    assert units["NAV"]["max_gap_s"] == facts["02"]["max_gap_s"]
    assert (units["NAV"]["first_s"], units["NAV"]["last_s"]) == (
        facts["02"]["first_rel_s"],
        facts["02"]["last_rel_s"],
    )
    assert (units["LOG"]["verdict"], units["LOG"]["state"]) == ("PASS", "present")
    # eight silences of the whole bus, and nobody is called intermittent for them
    assert len(document["buses"][0]["gaps"]) == len(FACTS["whole_bus_silences_over_0.3s"]) == 8
    assert units["NAV"]["pauses"] == units["LOG"]["pauses"] == []
    strangers = {name for name, unit in units.items() if unit["state"] == "unexpected"}
    assert strangers == {name for name in FACTS["per_id"] if name[-2:] not in ("02", "B0") and name != "18EEFF11"}
    assert code == 1  # they are somebody's


def test_compare_names_the_units(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bay = profile(tmp_path / "bay")
    before, after = halves(tmp_path)
    quiet = tmp_path / "quiet.log"
    quiet.write_text("".join(line for line in after.read_text().splitlines(keepends=True) if "19F214B0" not in line))
    code, document = told(capsys, "compare", before, quiet, "--profile", bay)
    (gone,) = [
        change for change in document["changes"] if change["kind"] == "identifier gone" and change["grade"] == "grave"
    ]
    assert (code, gone["what"]) == (1, "19F214B0")
    assert gone["text"].startswith("19F214B0 (LOG) is gone")
    # what is sent once has not gone: the address claim is in the first half only, and the profile says so of it
    once = [change for change in document["changes"] if change["what"] == "18EEFF11"]
    assert [(change["kind"], change["grade"]) for change in once] == [("identifier gone", "lesser")]
    assert not [change for change in document["changes"] if change["kind"] == "unit"]


def test_a_unit_gone_is_a_change_of_the_unit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before, after = halves(tmp_path)
    mute = tmp_path / "mute.log"
    mute.write_text("".join(line for line in after.read_text().splitlines(keepends=True) if "B0#" not in line))
    code, document = told(capsys, "compare", before, mute, "--profile", profile(tmp_path / "bay"))
    first = document["changes"][0]
    assert (code, first["kind"], first["grade"], first["what"]) == (1, "unit", "grave", "LOG")
    assert "LOG was present, now missing" in first["text"]
    # its identifiers need no words of their own
    assert not [change for change in document["changes"] if change["what"][-2:] == "B0"]


def test_replay_judges_by_the_same_sources(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bay = profile(tmp_path / "bay")
    _, document = told(capsys, "replay", MARINE, "--profile", bay)
    bodies = {body["step"]: body for body in document["verdicts"]}
    heard = {unit: bodies[f"unit_heard:can1:{unit}"] for unit in ("NAV", "LOG")}
    assert {unit: body["verdict"]["outcome"] for unit, body in heard.items()} == {"NAV": "PASS", "LOG": "PASS"}
    _, surveyed = told(capsys, "survey", MARINE, "--profile", bay)
    texts = {unit["unit"]: unit["text"] for unit in surveyed["units"]}
    assert {unit: body["verdict"]["text"] for unit, body in heard.items()} == {u: texts[u] for u in ("NAV", "LOG")}
    strangers = bodies["bus_strangers:can1"]["reading"]["detail"]
    assert set(strangers["identifiers"]) == {name for name, text in texts.items() if "no unit of the profile" in text}
    assert {entry["identifier"]: entry["text"] for entry in strangers["unexpected"]} == {
        name: text for name, text in texts.items() if name not in ("NAV", "LOG")
    }
    assert all(entry["first_s"] <= entry["last_s"] for entry in strangers["unexpected"])
