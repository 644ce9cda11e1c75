"""From harness, plan and events to the report's values. Pure."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from itertools import groupby

from benchcheck.harness.model import Harness
from benchcheck.report import pick
from benchcheck.report.connector_rows import connector_rows
from benchcheck.report.facts import Facts, Rework, SquawkState, facts_of
from benchcheck.report.model import ReportModel, StageCount, StepGroup, StepRow, Word
from benchcheck.report.step_rows import STAGES, row_of
from benchcheck.report.traffic_rows import bus_rows, line_rows, unit_rows
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import ExitCode
from benchcheck.words.event import Event
from benchcheck.words.step import Step

CANNOT_PROVE = "cannot_prove"


def build_report(
    harness: Harness | None,
    steps: Sequence[Step],
    events: Sequence[Event],
    *,
    generated_utc: str,
    version: str,
    head: str = "",
    stale: Collection[str] | None = None,
) -> ReportModel:
    """The report of a job.

    harness  None where the profile can't be read any more: steps are then those that were recorded
    head     hash of the last event, where the caller holds it; by default the last event's own
    stale    ids of steps whose readings a rework made worthless; by default those that touch what was reworked,
             not those that depend on it through a net
    """
    facts = facts_of(events)
    waived = _waived_steps(facts)
    old = _stale_steps(harness, facts) if stale is None else frozenset(stale)
    rows = _rows(steps, facts, waived, old)
    planned = {step.id for step in steps}
    recorded = [
        row_of(None, event, times=facts.counts.get(name, 0), waived=waived.get(name, ""), stale=name in old)
        for name, event in facts.in_force.items()
        if name not in planned
    ]
    former: tuple[StepRow, ...] = tuple(recorded)
    if not steps:  # no plan to compare with: what was recorded is all there is
        rows, former = sorted(recorded, key=lambda row: STAGES.index(row.stage) if row.stage in STAGES else 99), ()
    outcome, outcome_text = _outcome(rows, facts)
    digest = facts.digest
    return ReportModel(
        title=facts.title or (harness.title if harness is not None else ""),
        harness_title=harness.title if harness is not None else "",
        profile=facts.profile,
        profile_digest=digest,
        profile_changed=harness is not None and bool(harness.digest) and harness.digest != digest,
        generated_utc=generated_utc,
        version=version,
        started_utc=facts.started_utc,
        last_utc=facts.last_utc,
        events=len(events),
        chain=events[-1].chain if events else "",
        head_seq=events[-1].seq if events else 0,
        head_hash=head or (events[-1].hash if events else ""),
        simulated=facts.simulated,
        outcome=outcome,
        outcome_text=outcome_text,
        sessions=facts.sessions,
        summary=_summary(rows),
        squawks=facts.open_squawks,
        ended_squawks=tuple(row for row in facts.squawks if row.state is not SquawkState.OPEN),
        waivers=facts.waivers,
        skipped=tuple(row for row in rows if row.word is Word.SKIPPED),
        cannot_prove=tuple(row for row in rows if row.reason == CANNOT_PROVE),
        reworks=facts.reworks,
        connectors=connector_rows(harness, rows) if harness is not None else (),
        groups=_groups(rows),
        former=former,
        follow_ups=tuple(row_of(None, event) for event in facts.follow_ups),
        units=unit_rows(rows, harness),
        buses=bus_rows(rows, harness),
        lines=line_rows(rows),
        captures=facts.captures,
    )


def _rows(steps: Sequence[Step], facts: Facts, waived: Mapping[str, str], stale: Collection[str]) -> list[StepRow]:
    return [
        row_of(
            step,
            facts.in_force.get(step.id),
            times=facts.counts.get(step.id, 0),
            waived=waived.get(step.id, ""),
            stale=step.id in stale,
        )
        for step in steps
    ]


def _waived_steps(facts: Facts) -> dict[str, str]:
    """Steps that a waiver covers, by themselves or through their squawk, with its reason.

    A waiver accepts what was known when it was given: a reading that came later stands for itself.
    """
    squawks = {squawk.id: squawk for squawk in facts.squawks if squawk.state is SquawkState.WAIVED}
    waived: dict[str, str] = {}
    for waiver in facts.waivers:
        squawk = squawks.get(waiver.what)
        for step in (waiver.what,) if squawk is None else squawk.steps:
            event = facts.in_force.get(step)
            if event is None or event.seq < waiver.seq:
                waived[step] = waiver.reason or "no reason given"
    return waived


def _stale_steps(harness: Harness | None, facts: Facts) -> frozenset[str]:
    """Steps read before a rework of something that they name."""
    found: set[str] = set()
    for rework in facts.reworks:
        for name, event in facts.in_force.items():
            if event.seq < rework.seq and _names(harness, event, rework):
                found.add(name)
    return frozenset(found)


def _names(harness: Harness | None, event: Event, rework: Rework) -> bool:
    body = event.body
    about = {pick.text(body, "red"), pick.text(body, "black"), *pick.texts(body, "subject")} - {""}
    runs = [harness.run(wire) for wire in rework.runs] if harness is not None else []
    touched = {*rework.runs, *rework.connectors, *(end for run in runs if run is not None for end in run.ends)}
    return bool(about & touched) or any(ref_of(name) in rework.connectors for name in about)


def _groups(rows: Sequence[StepRow]) -> tuple[StepGroup, ...]:
    return tuple(
        StepGroup(stage, state, tuple(group))
        for (stage, state), group in groupby(rows, key=lambda row: (row.stage, row.state))
    )


def _summary(rows: Sequence[StepRow]) -> tuple[StageCount, ...]:
    counts: dict[str, dict[Word, int]] = {}
    for row in rows:
        words = counts.setdefault(row.stage, dict.fromkeys(Word, 0))
        words[row.word] += 1
    order = [*STAGES, *(stage for stage in counts if stage not in STAGES)]
    return tuple(StageCount(stage, sum(counts[stage].values()), counts[stage]) for stage in order if stage in counts)


def _outcome(rows: Sequence[StepRow], facts: Facts) -> tuple[ExitCode, str]:
    """FAIL before UNSURE before PASS; a waiver with its reason counts as PASS, a skip without one as UNSURE."""
    open_words = [row.word for row in rows if not row.waived]
    fails = open_words.count(Word.FAIL)
    squawks = len(facts.open_squawks)
    if fails or squawks:
        return ExitCode.FAIL, f"{_count(squawks, 'open squawk')}, {_count(fails, 'failed step')}"
    unsure = [
        f"{open_words.count(word)} {word.value.lower()}"
        for word in (Word.UNSURE, Word.STALE, Word.SKIPPED, Word.TO_DO)
        if word in open_words
    ]
    if unsure or not rows:
        return ExitCode.UNSURE, f"nothing failed, but not all is proved: {', '.join(unsure) or 'nothing was measured'}"
    waived = sum(bool(row.waived) for row in rows)
    return ExitCode.PASS, "all steps pass" + (f", {waived} of them by waiver" if waived else "")


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
