"""The capture of a live stage: its parts, what the record says of them, and that they are judged as the one file is."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from frame_rows import batch_of
from model_bench import Job, job_on, shipped
from replayed import replay, told_again, told_live

from benchcheck.capture.logs import open_recording
from benchcheck.capture.parts import parts_of
from benchcheck.jobs.listening.capture_file import CaptureFile, PartLimits
from benchcheck.simulator.faults import IntermittentUnit, SilentUnit
from benchcheck.words.verdict import Outcome

START = 1_900_000_000_000_000_000
S = 1_000_000_000


def live(folder: Path, limits: PartLimits) -> tuple[Job, CaptureFile, list[dict[str, object]]]:
    harness, plan, context = shipped("survey_launch")
    sink = CaptureFile(folder / "live.pcapng", harness, limits)
    faults = (SilentUnit("TIDE"), IntermittentUnit("WINCH", 1.2, 0.9))
    made = job_on(harness, plan, context, faults, capture=sink)
    made.run()
    return made, sink, sink.close()


def test_an_ordinary_live_stage_stays_in_one_file(tmp_path: Path) -> None:
    _, sink, bodies = live(tmp_path, PartLimits())
    data = (tmp_path / "live.pcapng").read_bytes()
    assert bodies == [{"file": "live.pcapng", "sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}]
    assert sink.parts == [tmp_path / "live.pcapng"]


@pytest.mark.parametrize("limits", [PartLimits(0.02, None), PartLimits(None, 1 / 60)])
def test_a_long_one_is_cited_part_by_part_and_judged_as_one(tmp_path: Path, limits: PartLimits) -> None:
    made, sink, bodies = live(tmp_path, limits)
    parts = parts_of(tmp_path / "live.pcapng")
    assert len(parts) > 3
    assert parts == sink.parts == sorted(tmp_path.iterdir())
    assert bodies == [
        {
            "file": part.name,
            "sha256": hashlib.sha256(part.read_bytes()).hexdigest(),
            "bytes": part.stat().st_size,
            "part": number,
            "parts": len(parts),
            "capture": "live.pcapng",
        }
        for number, part in enumerate(parts, 1)
    ]
    replayed, told = replay(tmp_path / "live.pcapng"), told_live(made)
    assert {r.step.id: told_again(r) for r in replayed.results} == {
        r.step.id: told[r.step.id] for r in replayed.results
    }


def test_a_part_that_is_lost_fails_nobody_for_it(tmp_path: Path) -> None:
    _, sink, _ = live(tmp_path, PartLimits(None, 1 / 60))
    whole = {r.step.id: r for r in replay(tmp_path / "live.pcapng").results}
    (lost,) = [part for part in sink.parts if part.name == "live.0004.pcapng"]
    lost.unlink()
    for result in replay(tmp_path / "live.pcapng").results:
        before = whole[result.step.id].outcome
        assert result.outcome in (before, Outcome.UNSURE)
    units = {
        r.step.settings["unit"]: r for r in replay(tmp_path / "live.pcapng").results if r.step.check == "unit_heard"
    }
    assert units["TIDE"].outcome is Outcome.FAIL  # the other parts are enough to say so
    assert units["NAV"].outcome is Outcome.PASS
    assert "part 4 is missing" in units["NAV"].verdict.text


def test_limits_of_parts() -> None:
    assert (PartLimits().max_bytes, PartLimits().max_ns) == (256_000_000, 3600 * S)
    assert (PartLimits(None, None).max_bytes, PartLimits(None, None).max_ns) == (None, None)
    assert (PartLimits(0.000001, 0.5).max_bytes, PartLimits(0.000001, 0.5).max_ns) == (1, 30 * S)


def test_what_was_begun_for_nothing_is_taken_away(tmp_path: Path) -> None:
    harness, _, _ = shipped("starter")
    sink = CaptureFile(tmp_path / "live.pcapng", harness, PartLimits(0.0001, None))
    for k in range(4):
        sink.frames("can1", batch_of([(START + k * S, 0, 0x100, 0, b"\1")] * 3))
    sink.close()
    assert len(list(tmp_path.iterdir())) > 1
    sink.forget()
    assert not list(tmp_path.iterdir())


def test_lines_are_in_every_part(tmp_path: Path) -> None:
    harness, _, _ = shipped("survey_launch")
    sink = CaptureFile(tmp_path / "live.pcapng", harness, PartLimits(None, 1 / 60))
    for k in range(5):
        sink.line("position:GNSS", START + k * S, b"$GPZDA\r\n")
        sink.mark("step_judged", START + k * S, {"step": f"s{k}"})
    bodies = sink.close()
    assert json.loads(json.dumps(bodies)) == bodies
    for part in sink.parts:
        with open_recording(part) as recording:
            list(recording)
        assert [line.name for line in recording.lines] == ["position:GNSS"]
