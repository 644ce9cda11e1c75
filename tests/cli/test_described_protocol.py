"""A protocol that the profile describes, through survey, replay and compare: all take it from the one registry."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from model_bench import job_on

from benchcheck.checks.kind import Context
from benchcheck.cli.main import run
from benchcheck.jobs.listening.capture_file import CaptureFile
from benchcheck.plan.plan import make_plan
from benchcheck.profile.load import load_profile
from benchcheck.simulator.sentences import described_line
from benchcheck.words.meter import MeterSpec

PROFILES = Path(__file__).parents[2] / "profiles"
PROTOCOL = r"""
[[protocols]]
name = "winch"
pattern = '#(LOAD|PAID),[0-9]{3}\.[0-9]'
checksum = "crc16"
checksum_after = "*"
sum_from = "#"
polynomial = 0x1021
initial = 0xFFFF
check = 0x29B1                    # published for it, of the characters 123456789

"""


@pytest.fixture(scope="module")
def profile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The starter, whose link speaks a protocol of the profile's own."""
    folder = tmp_path_factory.mktemp("profiles") / "starter"
    shutil.copytree(PROFILES / "starter", folder)
    shutil.copytree(PROFILES / "units", folder.parent / "units")
    text = (folder / "harness.toml").read_text(encoding="utf-8")
    for old, new in (
        ("[[links]]", f"{PROTOCOL}[[links]]"),
        ('protocol = "nmea0183"', 'protocol = "winch"'),
        ('types = ["GPGGA", "GPZDA"]', 'types = ["LOAD", "PAID"]'),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    (folder / "harness.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def capture(profile: Path) -> Path:
    harness = load_profile(profile)
    sink = CaptureFile(profile.parent / "live.pcapng", harness)
    try:
        job_on(harness, make_plan(harness, MeterSpec()), Context(harness, MeterSpec()), capture=sink).run()
    finally:
        sink.close()
    return sink.path


def test_survey(profile: Path, capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["survey", str(capture), "--profile", str(profile), "--json"])
    document = json.loads(capsys.readouterr().out)
    (line,) = document["lines"]
    assert line["protocol"] == "winch"
    assert line["sentences"]["good"] >= 6
    assert line["sentences"]["bad_checksum"] == 0
    assert set(line["types"]) == {"LOAD", "PAID"}
    (talk,) = document["talks"]
    assert (talk["verdict"], talk["state"]) == ("PASS", "heard")
    run(["survey", str(capture), "--profile", str(profile), "--plain"])
    text = capsys.readouterr().out
    assert "line position:GPS, winch:" in text
    assert " good lines" in text


def test_a_survey_without_the_profile_knows_no_such_protocol(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["survey", str(capture), "--json"])
    (line,) = json.loads(capsys.readouterr().out)["lines"]
    assert line["protocol"] == "text"


def test_replay(profile: Path, capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["replay", str(capture), "--profile", str(profile), "--json"])
    document = json.loads(capsys.readouterr().out)
    (found,) = [entry for entry in document["verdicts"] if entry["step"] == "link_alive:position:GPS"]
    assert found["verdict"]["outcome"] == "PASS"


def test_compare(profile: Path, capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", str(capture), str(capture), "--profile", str(profile), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["changes"] == []


def test_raw_bytes_of_such_a_line(profile: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    protocol = load_profile(profile).protocols[0]
    raw = tmp_path / "winch.raw"
    raw.write_bytes(b"".join(described_line(protocol, "LOAD", moment) for moment in range(20)) + b"#LOAD,1\xff\r\n")
    run(["survey", str(raw), "--line", "winch", "--profile", str(profile), "--json"])
    (line,) = json.loads(capsys.readouterr().out)["lines"]
    assert (line["protocol"], line["sentences"]["good"], line["sentences"]["other"]) == ("winch", 20, 1)
    assert run(["compare", str(raw), str(raw), "--line", "winch", "--profile", str(profile)]) == 0
    capsys.readouterr()
    for command in (["survey", str(raw)], ["compare", str(raw), str(raw)]):
        assert run([*command, "--line", "winch"]) == 2
        assert "no line protocol 'winch'" in capsys.readouterr().err


def test_review_and_plan_take_such_a_profile(profile: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["plan", str(profile), "--plain"])
    assert "winch" in capsys.readouterr().out


def test_a_hostile_pattern_is_refused_in_words_and_at_once(
    profile: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "profiles" / "starter"
    shutil.copytree(profile.parent, folder.parent)
    text = (folder / "harness.toml").read_text(encoding="utf-8")
    (folder / "harness.toml").write_text(
        text.replace(r"'#(LOAD|PAID),[0-9]{3}\.[0-9]'", "'(a+)+(a+)+$'"), encoding="utf-8"
    )
    assert run(["review", str(folder)]) == 2
    said = capsys.readouterr()
    assert "repeats a group" in said.out + said.err
    assert "harness.toml" in said.out + said.err
