"""Gaps of the recorder in a survey, a comparison and a converted capture: named, and charged to nobody."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from frame_rows import batch_of
from test_survey import MS, START, every, harness, survey  # noqa: F401 (a fixture)

from benchcheck.capture.pcapng_writer import STATISTICS_NS, CaptureWriter
from benchcheck.capture.rotating_writer import RotatingWriter
from benchcheck.cli.main import run
from benchcheck.words.recorder_gap import RecorderGap

S = 1000 * MS


def recorded(path: Path, *gaps: RecorderGap, out: tuple[float, float] | None = None) -> Path:
    """Both units of the profile for 30 s, but for what was not recorded from `out[0]` to `out[1]` seconds."""
    rows = sorted(every(0x100, 100, 300) + every(0x200, 200, 150))
    kept = [row for row in rows if out is None or not out[0] * S < row[0] - START < out[1] * S]
    with CaptureWriter(path) as writer:
        bus = writer.add_bus("can1", 250_000)
        writer.write_frames(bus, batch_of(kept))
        for gap in gaps:
            writer.gap(gap)
            writer.dropped(bus, gap.dropped)
    return path


@pytest.mark.usefixtures("harness")
def test_an_outage_is_named_and_charged_to_nobody(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    gap = RecorderGap(START + 10 * S, START + 14 * S, "the adapter could not be read", "can1")
    told = recorded(tmp_path / "a.pcapng", gap, out=(10, 14))
    code, said = survey(capsys, told, "--profile", tmp_path)
    assert code == 0
    assert said["recorder_gaps"] == [
        {
            "start_s": 10.0,
            "length_s": 4.0,
            "bus": "can1",
            "line": None,
            "dropped": 0,
            "why": "the adapter could not be read",
        }
    ]
    assert [unit["state"] for unit in said["units"]] == ["present", "present"]
    assert all("the adapter could not be read" in unit["text"] for unit in said["units"])
    (bus,) = said["buses"]
    assert [(silence["start_s"], silence["of_recorder"]) for silence in bus["gaps"]] == [(10.0, True)]
    assert bus["load_is_lower_bound"] is True
    assert any("not everything was recorded" in note for note in said["notes"])
    # the same without the mark is a silence of the bus
    _, said = survey(capsys, recorded(tmp_path / "b.pcapng", out=(10, 14)), "--profile", tmp_path)
    assert [silence["of_recorder"] for silence in said["buses"][0]["gaps"]] == [False]
    assert said["recorder_gaps"] == []
    # for a person
    assert run(["survey", str(told), "--profile", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "warning: not everything of can1 was recorded for 4.000 s from 10.000 s on: the adapter could not" in out
    assert "4.000 s from 10.000 s on; the recorder's" in out


@pytest.mark.usefixtures("harness")
def test_frames_dropped_between_two_counts_excuse_that_time_only(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    def counted(path: Path, out: tuple[float, float]) -> Path:
        rows = sorted(every(0x100, 100, 600) + every(0x200, 200, 300))
        kept = [row for row in rows if row[2] != 0x200 or not out[0] * S < row[0] - START < out[1] * S]
        with CaptureWriter(path) as writer:
            bus = writer.add_bus("can1", 250_000)
            writer.keep_up(0)
            for k in range(6):
                part = [row for row in kept if 10 * k * S <= row[0] - START < 10 * (k + 1) * S]
                writer.write_frames(bus, batch_of(part))
                writer.dropped(bus, 9 if k >= 2 else 0)
                writer.keep_up((k + 1) * STATISTICS_NS)
        return path

    code, said = survey(capsys, counted(tmp_path / "a.pcapng", (22, 25)), "--profile", tmp_path)
    assert code == 4
    assert said["dropped_frames"] == 9
    assert [(unit["verdict"], unit["state"]) for unit in said["units"]] == [
        ("PASS", "present"),
        ("UNSURE", "intermittent"),
    ]
    assert "9 frames were dropped between two counts" in said["units"][1]["text"]
    code, said = survey(capsys, counted(tmp_path / "b.pcapng", (42, 45)), "--profile", tmp_path)
    assert code == 1  # nothing was dropped then
    assert [unit["state"] for unit in said["units"]] == ["present", "intermittent"]


def write_parts(folder: Path) -> RotatingWriter:
    rows = sorted(every(0x100, 100, 300) + every(0x200, 200, 150))
    with RotatingWriter(folder / "night.pcapng", max_ns=5 * S, first_alone=True) as writer:
        bus, line = writer.add_bus("can1", 250_000), writer.add_line("gps", "nmea0183", 4800)
        for second in range(30):
            part = [row for row in rows if second * S <= row[0] - START < (second + 1) * S]
            writer.write_frames(bus, batch_of(part))
            writer.write_bytes(line, START + second * S, b"$GPZDA,,,,,,*48\r\n", framing_errors=second == 3)
    return writer


@pytest.mark.parametrize("step_s", [-86400, -20, 86400])
@pytest.mark.usefixtures("harness")
def test_a_clock_that_was_set_is_no_silence_to_the_end(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, step_s: int
) -> None:
    rows = sorted(every(0x100, 100, 300) + every(0x200, 200, 150))
    moved = [(row[0] + step_s * S * (row[0] >= START + 15 * S), *row[1:]) for row in rows]
    with CaptureWriter(tmp_path / "a.pcapng") as writer:
        writer.write_frames(writer.add_bus("can1", 250_000), batch_of(moved))
    code, said = survey(capsys, tmp_path / "a.pcapng", "--profile", tmp_path)
    assert [(unit["verdict"], unit["state"]) for unit in said["units"]] == [("PASS", "present")] * 2
    assert (code, len(said["clock_steps"])) == (0, 1)


@pytest.mark.usefixtures("harness")
def test_parts_are_one_in_survey_compare_and_convert(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    writer = write_parts(tmp_path)
    night, whole = tmp_path / "night.pcapng", tmp_path / "whole.pcapng"
    assert len(writer.parts) == 6
    assert not night.exists()
    code, said = survey(capsys, night, "--profile", tmp_path)
    assert code == 0
    assert (said["file"], said["frames"], said["notes"], said["recorder_gaps"]) == ("night.pcapng", 450, [], [])
    (line,) = said["lines"]
    assert (line["framing_errors"], line["gaps"], line["sentences"]["good"]) == (1, [], 30)
    assert run(["convert", str(night), str(whole)]) == 0
    capsys.readouterr()
    _, again = survey(capsys, whole, "--profile", tmp_path)
    assert again == {**said, "file": "whole.pcapng"}
    assert run(["compare", str(night), str(whole)]) == 0
    assert "nothing changed" in capsys.readouterr().out


@pytest.mark.usefixtures("harness")
def test_a_part_that_is_missing_is_named_everywhere(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    writer = write_parts(tmp_path)
    night, whole = tmp_path / "night.pcapng", tmp_path / "whole.pcapng"
    assert run(["convert", str(night), str(whole)]) == 0
    writer.parts[2].unlink()
    capsys.readouterr()
    code, said = survey(capsys, night, "--profile", tmp_path)
    assert code == 0
    assert [gap["why"] for gap in said["recorder_gaps"]] == ["part 3 is missing"]
    assert all("part 3 is missing" in unit["text"] for unit in said["units"])
    assert [silence["of_recorder"] for silence in said["buses"][0]["gaps"]] == [True]
    assert [silence["of_recorder"] for silence in said["lines"][0]["gaps"]] == [True]
    assert run(["compare", str(whole), str(night), "--json"]) in (0, 4)
    found = json.loads(capsys.readouterr().out)
    assert (found["before"]["frames_missing"], found["after"]["frames_missing"]) == (False, True)
    assert not [change for change in found["changes"] if change["grade"] == "grave"]


def test_a_line_says_its_silences(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "a.pcapng"
    with CaptureWriter(path) as writer:
        line = writer.add_line("gps", "nmea0183", 4800)
        for second in [*range(20), *range(40, 60)]:
            writer.write_bytes(line, START + second * S, b"$GPZDA,,,,,,*48\r\n", framing_errors=0)
    assert run(["survey", str(path)]) == 0
    out = capsys.readouterr().out
    assert "  0 framing errors\n" in out
    assert "  silences of the line, 3 s and longer: 1\n       21.000 s from 19.000 s on\n" in out
