"""`benchcheck survey`, as a person or a program calls it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from frame_rows import Row, batch_of

from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.cli.main import run
from benchcheck.harness.model import Bus, Gender, Harness, Message, Unit, UnitType

RECORDINGS = Path(__file__).parents[1] / "data" / "recordings"
START = 1_700_000_000_000_000_000
MS = 1_000_000


def survey(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    """Exit code and JSON."""
    code = run(["survey", *map(str, words), "--json"])
    out = capsys.readouterr().out
    return code, json.loads(out) if out else {}


def every(can_id: int, period_ms: int, count: int, start_ms: int = 0) -> list[Row]:
    return [(START + (start_ms + k * period_ms) * MS, 0, can_id, 0, bytes(8)) for k in range(count)]


def capture(path: Path, rows: list[Row], *, power_on_ms: int | None = None, dropped: int = 0) -> Path:
    with CaptureWriter(path) as writer:
        bus = writer.add_bus("can1", 250_000)
        if power_on_ms is not None:
            writer.mark(START + power_on_ms * MS, "power_on")
        writer.write_frames(bus, batch_of(sorted(rows)))
        writer.statistics(bus, START, received=len(rows), dropped=dropped)
    return path


@pytest.fixture
def harness(monkeypatch: pytest.MonkeyPatch) -> Harness:
    """A profile of two units; reading profile folders has tests of its own."""
    kind = UnitType("box", "A box", {"J1": ("dsub9", Gender.PIN)}, (), boot_s=1.0)
    units = {ref: Unit(ref, kind, ref, {}) for ref in ("NAV", "SONAR", "QUIET")}
    messages = (
        Message(0x100, False, "position", "NAV", 0.1),
        Message(0x200, False, "depth", "SONAR", 0.2),
        Message(0x201, False, "alarm", "SONAR", None),
        Message(0x300, False, "nobody", "", 0.1),
    )
    bus = Bus("can1", 250_000, ("NAV", "SONAR", "QUIET"), "P190", messages)
    made = Harness("bay", "A bay", 20.0, "GND1", {}, (), (), units, (), (bus,), ())
    monkeypatch.setattr("benchcheck.profile.load.load_profile", lambda folder: made)
    return made


def test_json_of_the_marine_recording(capsys: pytest.CaptureFixture[str]) -> None:
    # facts computed frame by frame in plain Python: tests/data/recordings/README.md
    facts = json.loads((RECORDINGS / "marine_can_250k.facts.json").read_text())
    code, said = survey(capsys, RECORDINGS / "marine_can_250k.log", "--bitrate", facts["bitrate"])
    assert code == 0
    assert said["schema"] == "benchcheck.survey/1"
    assert said["duration_s"] == said["recorded_s"] == facts["duration_s"]
    assert (said["frames"], said["error_frames"], said["bad_records"]) == (facts["frames"], 0, 0)
    assert said["lines"] == said["clock_steps"] == said["notes"] == []
    assert "units" not in said
    (bus,) = said["buses"]
    assert (bus["name"], bus["bitrate"], bus["wire_bits"]) == ("can0", 250_000, facts["total_wire_bits"])
    assert bus["load_mean_percent"] == pytest.approx(facts["bus_load_percent"], abs=5e-5)
    assert bus["load_peak_percent"] == pytest.approx(facts["peak_1s_load_percent"], abs=5e-4)
    assert bus["peak_window_s"] == 1.0
    assert [gap["start_s"] for gap in bus["gaps"]] == [g["after_rel_s"] for g in facts["whole_bus_silences_over_0.3s"]]
    assert "0.3 s" in said["rules"]["gaps"]
    assert {entry["id"]: entry["count"] for entry in bus["ids"]} == {k: v["count"] for k, v in facts["per_id"].items()}


def test_json_of_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    facts = json.loads((RECORDINGS / "chartplotter_0183.facts.json").read_text())
    code, said = survey(capsys, RECORDINGS / "chartplotter_0183.nmea", "--line", "nmea0183")
    assert code == 0
    assert said["buses"] == []
    assert said["duration_s"] is None
    (line,) = said["lines"]
    assert line["name"] == "chartplotter_0183.nmea"
    assert line["bytes"] == facts["bytes"]
    assert line["sentences"] == {"good": 4999, "bad_checksum": 0, "no_checksum": 0, "other": 0}
    assert line["types"] == facts["per_type"]


def test_text_for_a_person(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["survey", str(RECORDINGS / "marine_can_250k.log"), "--bitrate", "250000"]) == 0
    out = capsys.readouterr().out
    assert "10,495 frames, 215.199 s" in out
    assert "load 2.72 % mean, 3.73 % in the fullest second" in out
    assert "2.543 s from 167.882 s on" in out
    assert "\x1b" not in out


def test_without_a_bit_rate_it_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert run(["survey", str(RECORDINGS / "marine_can_250k.log")]) == 2
    assert "bit rate is not known" in capsys.readouterr().err
    with CaptureWriter(tmp_path / "a.pcapng") as writer:
        writer.write_frames(writer.add_bus("can1"), batch_of(every(0x100, 100, 3)))
    assert run(["survey", str(tmp_path / "a.pcapng")]) == 2
    assert "bus can1" in capsys.readouterr().err


@pytest.mark.parametrize("rate", ["0", "-5", "fast"])
def test_an_impossible_bit_rate_is_wrong_use(rate: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["survey", "x.log", "--bitrate", rate]) == 2
    assert "--bitrate" in capsys.readouterr().err


def test_the_capture_knows_its_bit_rate_and_the_flag_goes_first(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = capture(tmp_path / "a.pcapng", every(0x100, 100, 30))
    _, own = survey(capsys, path)
    _, told = survey(capsys, path, "--bitrate", 500_000)
    assert (own["buses"][0]["bitrate"], told["buses"][0]["bitrate"]) == (250_000, 500_000)
    assert own["buses"][0]["load_mean_percent"] == pytest.approx(2 * told["buses"][0]["load_mean_percent"], abs=2e-6)


def test_lines_of_a_capture_come_by_themselves(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "a.pcapng"
    with CaptureWriter(path) as writer:
        position, depth = writer.add_line("position", "nmea0183", 4800), writer.add_line("depth", "text", 9600)
        writer.write_bytes(position, START, b"$GPBOD,,T,,M,,*4")
        writer.write_bytes(depth, START + 1, b"DEPTH 12.5\n")
        writer.write_bytes(depth, START + 2, b"?\n", sent=True)
        writer.write_bytes(position, START + 2_000 * MS, b"7\r\n$GPBOD,,T,,M,,*00\r\n")
    code, said = survey(capsys, path)
    assert code == 0
    assert said["duration_s"] == 2.0
    position_line, depth_line = said["lines"]
    assert position_line["sentences"] == {"good": 1, "bad_checksum": 1, "no_checksum": 0, "other": 0}
    assert depth_line["sentences"]["no_checksum"] == 1
    assert depth_line["types"] == {"DEPTH": 1}


def test_units_of_a_profile(capsys: pytest.CaptureFixture[str], tmp_path: Path, harness: Harness) -> None:
    rows = every(0x100, 100, 60) + every(0x200, 200, 30, 30) + every(0x300, 100, 60)
    code, said = survey(capsys, capture(tmp_path / "a.pcapng", rows), "--profile", tmp_path)
    assert code == 0
    assert [(unit["unit"], unit["verdict"], unit["state"]) for unit in said["units"]] == [
        ("NAV", "PASS", "present"),
        ("SONAR", "PASS", "present"),
    ]
    assert said["units"][1]["first_s"] == 0.03
    assert said["units"][1]["last_s"] == 5.83
    assert said["units"][1]["max_gap_s"] == 0.2


def test_a_missing_unit_and_a_stranger_fail(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, harness: Harness
) -> None:
    path = capture(tmp_path / "a.pcapng", every(0x100, 100, 60) + every(0x555, 100, 60))
    code, said = survey(capsys, path, "--profile", tmp_path)
    assert code == 1
    assert [(unit["unit"], unit["state"]) for unit in said["units"]] == [
        ("NAV", "present"),
        ("SONAR", "missing"),
        ("555", "unexpected"),
    ]
    assert run(["survey", str(path), "--profile", str(tmp_path)]) == 1
    assert "FAIL    SONAR" in capsys.readouterr().out


def test_late_by_the_mark_of_the_capture(capsys: pytest.CaptureFixture[str], tmp_path: Path, harness: Harness) -> None:
    rows = every(0x100, 100, 60, 500) + every(0x200, 200, 20, 2500)
    code, said = survey(capsys, capture(tmp_path / "a.pcapng", rows, power_on_ms=0), "--profile", tmp_path)
    assert code == 1
    assert [unit["state"] for unit in said["units"]] == ["present", "late"]
    code, said = survey(capsys, capture(tmp_path / "b.pcapng", rows), "--profile", tmp_path)
    assert code == 0


def test_dropped_frames_make_missing_unsure(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, harness: Harness
) -> None:
    path = capture(tmp_path / "a.pcapng", every(0x100, 100, 60), dropped=2)
    code, said = survey(capsys, path, "--profile", tmp_path)
    assert code == 4
    assert said["dropped_frames"] == 2
    assert [(unit["verdict"], unit["state"]) for unit in said["units"]] == [("PASS", "present"), ("UNSURE", "missing")]


def test_a_log_takes_bit_rate_and_bus_from_the_profile(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, harness: Harness
) -> None:
    stamps = [(1_700_000_000 + k / 10, "100") for k in range(60)] + [
        (1_700_000_000.05 + k / 5, "200") for k in range(30)
    ]
    lines = [f"({at:.3f}) can0 {can_id}#00" for at, can_id in sorted(stamps)]
    (tmp_path / "a.log").write_text("\n".join(lines) + "\n")
    code, said = survey(capsys, tmp_path / "a.log", "--profile", tmp_path)
    assert code == 0
    assert said["buses"][0]["bitrate"] == 250_000
    assert [unit["state"] for unit in said["units"]] == ["present", "present"]


@pytest.mark.parametrize("content", ["# only comments\n\n", "junk\nmore junk\n", "\n", "(1.0) can0 12345#00\n"])
def test_a_log_without_a_frame_has_nothing_to_judge(
    content: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "a.log").write_text(content)
    code, said = survey(capsys, tmp_path / "a.log", "--bitrate", 250_000)
    assert code == 4
    assert said["frames"] == 0
    assert said["duration_s"] is None
    assert said["buses"] == []
    assert "nothing to judge" in said["notes"][0]
    assert said["bad_records"] + said["skipped_lines"] == content.count("\n")
    assert run(["survey", str(tmp_path / "a.log"), "--bitrate", "250000"]) == 4
    assert "nothing to judge" in capsys.readouterr().out


def test_a_line_of_garbage_is_unsure(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "a.nmea").write_bytes(bytes(range(128, 256)) * 50)
    code, said = survey(capsys, tmp_path / "a.nmea", "--line", "nmea0183")
    assert code == 4
    assert "baud rate" in said["notes"][0]
    assert said["lines"][0]["printable_percent"] == 0.0


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("missing.log", None, "no such file"),
        ("empty.log", b"", "is empty"),
        ("a.log", bytes(range(32)) * 10, "binary data"),
        ("a.odd", b"x", "has a form that can't be read"),
        ("a.pcapng", b"x", "no pcapng capture"),
    ],
)
def test_bad_input(
    name: str, content: bytes | None, words: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    assert run(["survey", str(tmp_path / name), "--bitrate", "250000", "--json"]) == 2
    said = capsys.readouterr()
    assert json.loads(said.out)["schema"] == "benchcheck.error/1"
    assert words in said.err
    assert name in said.err


def test_missing_file_of_a_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert run(["survey", str(tmp_path / "none.nmea"), "--line", "nmea0183"]) == 2
    assert "no such file" in capsys.readouterr().err


def test_damage_is_told_and_what_was_read_stays(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = capture(tmp_path / "a.pcapng", every(0x100, 100, 60))
    path.write_bytes(path.read_bytes()[:-200])
    code, said = survey(capsys, path)
    assert code == 0
    assert said["truncated"] is True
    assert said["bad_records"] == 1
    assert 50 < said["frames"] < 60
    assert "damaged from byte" in said["notes"][0]


def test_hostile_names_are_shown_escaped(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "a.log").write_bytes(b"(1.0) \x1b]0;evil\x07 123#00\n(2.5) \x1b]0;evil\x07 123#00\n")
    assert run(["survey", str(tmp_path / "a.log"), "--bitrate", "250000"]) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "\\x1b]0;evil\\x07" in out


def test_a_clock_step_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    lines = [f"({1_700_000_000 + k // 100}.{k % 100:02d}) can0 100#00" for k in range(300)]
    lines += [f"({1_700_100_000 + k // 100}.{k % 100:02d}) can0 100#00" for k in range(300)]
    (tmp_path / "a.log").write_text("\n".join(lines) + "\n")
    code, said = survey(capsys, tmp_path / "a.log", "--bitrate", 250_000)
    assert code == 0
    assert said["clock_steps"] == [{"at_s": 2.99, "step_s": 99997.01, "bus": "can0"}]
    assert said["buses"][0]["clock_steps"] == [{"at_s": 2.99, "step_s": 99997.01}]
    assert said["buses"][0]["gaps"] == []
    assert said["recorded_s"] == 5.98
    assert said["buses"][0]["load_mean_percent"] < 0.01 < said["buses"][0]["load_mean_recorded_percent"]
    run(["survey", str(tmp_path / "a.log"), "--bitrate", "250000"])
    out = capsys.readouterr().out
    assert "warning: the recorder's clock stepped" in out
    assert "clock step of +99997.010 s after 2.990 s" in out


def test_help_shows_examples(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["survey", "--help"]) == 0
    assert "--line nmea0183" in capsys.readouterr().out


def test_as_a_program_with_few_imports() -> None:
    """A text log needs neither python-can nor pandas; results alone are on stdout."""
    code = (
        "import sys; from benchcheck.cli.main import run; "
        f"c = run(['survey', {str(RECORDINGS / 'marine_can_250k.log')!r}, '--bitrate', '250000', '--json']); "
        "assert not {'can', 'pandas', 'serial', 'cantools', 'pydantic'} & set(sys.modules); sys.exit(c)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=Path(__file__).parents[2]
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert json.loads(done.stdout)["frames"] == 10495
