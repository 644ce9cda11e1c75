"""A live run on the model bench, its capture replayed, and what both say, as text."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from model_bench import Job, job_on, shipped

from benchcheck.capture.logs import open_recording
from benchcheck.jobs.bodies import reading_body
from benchcheck.jobs.listening.capture_file import CaptureFile
from benchcheck.jobs.playing.replay import Part, Replay, Replayed
from benchcheck.simulator.faults import Fault
from benchcheck.words.event import EventKind
from benchcheck.words.result import Result
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

PROFILE = "survey_launch"


def live(folder: Path, *faults: Fault, acknowledge: bool = True) -> tuple[Job, Path]:
    """The power and live stages of a job, with its capture."""
    harness, plan, context = shipped(PROFILE)
    sink = CaptureFile(folder / "live.pcapng", harness)
    made = job_on(harness, plan, context, faults, capture=sink, acknowledge=acknowledge)
    made.run()
    sink.close()
    return made, sink.path


def replay(path: Path, part: Part | None = None, **chosen: tuple[str, ...]) -> Replayed:
    harness, _, _ = shipped(PROFILE)
    with open_recording(path) as recording:
        return Replay(recording, harness, part, **chosen).run()


def by_id(replayed: Replayed) -> dict[str, Result]:
    return {result.step.id: result for result in replayed.results}


def text_of(body: Mapping[str, object]) -> str:
    return json.dumps(body, allow_nan=False)


def told_live(made: Job) -> dict[str, str]:
    """The last that the record says of each step of the live stage."""
    found = {}
    for event in made.record.events():
        if event.kind == EventKind.READING and event.body["stage"] == Stage.LIVE.value:
            found[str(event.body["step"])] = text_of(event.body)
        elif event.kind == EventKind.SKIPPED:
            found[str(event.body["step"])] = str(event.body["reason"])
    return found


def told_again(result: Result) -> str:
    return result.verdict.text if result.outcome is Outcome.SKIPPED else text_of(reading_body(result))
