"""Which connectors a step touches, and how each connector stands in each stage."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchcheck.harness.model import Harness
from benchcheck.report.model import ConnectorRow, StepRow, Word
from benchcheck.report.step_rows import STAGES
from benchcheck.words.contact import contact_key, ref_of

# The worst word of a connector's steps is the one that its cell shows.
WORST_FIRST = (Word.FAIL, Word.STALE, Word.UNSURE, Word.TO_DO, Word.SKIPPED, Word.PASS)


def connector_rows(harness: Harness, rows: Sequence[StepRow]) -> tuple[ConnectorRow, ...]:
    """One row for each connector of the harness, by reference designator."""
    tallies: dict[str, dict[str, dict[Word, int]]] = {ref: {} for ref in harness.connectors}
    ends = {run.wire: run.ends for run in harness.runs} | {part.ref: (part.a, part.b) for part in harness.parts}
    for row in rows:
        for ref in set(_touched(row, ends)):
            if ref in tallies:
                words = tallies[ref].setdefault(row.stage, {})
                words[row.word] = words.get(row.word, 0) + 1
    return tuple(
        ConnectorRow(
            ref=ref,
            family=connector.family,
            unit=connector.unit,
            zone=connector.zone,
            stages={stage: _cell(tallies[ref].get(stage, {})) for stage in STAGES},
        )
        for ref, connector in sorted(harness.connectors.items(), key=lambda item: contact_key(item[0]))
    )


def _touched(row: StepRow, ends: dict[str, tuple[str, ...]]) -> Iterator[str]:
    for contact in row.contacts.split(" to "):
        yield ref_of(contact)
    for name in row.subject:
        yield ref_of(name)
        for end in ends.get(name, ()):
            yield ref_of(end)


def _cell(words: dict[Word, int]) -> tuple[Word | None, str]:
    total = sum(words.values())
    for word in WORST_FIRST:
        if count := words.get(word, 0):
            return word, f"{count}" if count == total else f"{count} of {total}"
    return None, ""
