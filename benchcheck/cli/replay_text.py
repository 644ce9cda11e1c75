"""What `benchcheck replay` says: the JSON of its verdicts, and the same as lines."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchcheck.cli.survey_text import escaped

if TYPE_CHECKING:
    from benchcheck.capture.recording import Recording
    from benchcheck.harness.model import Harness
    from benchcheck.jobs.playing.replay import Part, Replayed

SCHEMA = "benchcheck.replay/1"
# What names the source and not what was heard; all else is the same for the live run and for each replay of its
# capture. `verdicts[]` are the bodies of the record's `reading.taken`, to the byte.
SOURCE_FIELDS = ("file",)
# A capture without the marks of a live run does not say who heard it either.
UNMARKED_SOURCE_FIELDS = (
    *SOURCE_FIELDS,
    "verdicts[].reading.instrument",
    "verdicts[].reading.detail.passive",
    "verdicts[].reading.detail.garbled_records",
    "verdicts[].reading.detail.listened_s",
)


def document_of(
    file: Path,
    harness: Harness,
    recording: Recording,
    part: Part,
    buses: Collection[str],
    units: Collection[str],
    replayed: Replayed,
) -> dict[str, object]:
    """The JSON of a replay."""
    from benchcheck.jobs.bodies import reading_body
    from benchcheck.words.verdict import Outcome

    results = replayed.results
    notes = [*recording.notes, *replayed.notes]
    if not results:
        notes.append("no step of the live stage is about what was asked for: nothing to judge")
    if not replayed.frames:
        notes.append("there is no frame of the profile's buses in it")
    return {
        "schema": SCHEMA,
        "file": file.name,
        "profile": harness.name,
        "digest": harness.digest,
        "from_s": part.from_s,
        "to_s": part.to_s,
        "buses": list(buses),
        "units": list(units),
        "frames": replayed.frames,
        "bad_records": recording.bad_records,
        "dropped_frames": recording.dropped_frames,
        "truncated": recording.truncated,
        "judged_by_marks": replayed.marked,
        "notes": notes,
        "counts": {outcome.value: sum(r.outcome is outcome for r in results) for outcome in Outcome},
        "verdicts": [reading_body(result) for result in results],
        "source_fields": list(SOURCE_FIELDS if replayed.marked else UNMARKED_SOURCE_FIELDS),
    }


def replay_lines(document: dict[str, Any]) -> Iterator[str]:
    """The lines to print."""
    for body in document["verdicts"]:
        verdict = body["verdict"]
        yield f"{verdict['outcome']:<7} {body['step']}: {escaped(verdict['text'])}"
    for note in document["notes"]:
        yield f"note: {escaped(note)}"
    counts = ", ".join(f"{count} {name}" for name, count in document["counts"].items())
    how = (
        f"{document['judged_by_marks']} of {len(document['verdicts'])} steps at the moments of the live run"
        if document["judged_by_marks"]
        else "no marks of a live run in it: judged at its end"
    )
    yield f"{escaped(document['file'])}: {document['frames']} frames; {counts}; {how}"
