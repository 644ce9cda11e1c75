"""From harness, plan and events to the report's values. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

from benchcheck.checks.kind import Context
from benchcheck.harness.model import Harness
from benchcheck.plan.coverage import ISOLATION_CHECKS, Coverage, coverage_of
from benchcheck.plan.plan import Plan
from benchcheck.report import pick
from benchcheck.report.connector_rows import connector_rows
from benchcheck.report.facts import Facts, Rework, SquawkState, facts_of
from benchcheck.report.model import ReportModel, StageCount, StepGroup, StepRow, Word
from benchcheck.report.step_rows import STAGES, row_of
from benchcheck.report.traffic_rows import bus_rows, line_rows, unit_rows
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import ExitCode
from benchcheck.words.event import Event
from benchcheck.words.meter import MeterSpec
from benchcheck.words.quantity import counted
from benchcheck.words.step import Step

CANNOT_PROVE = "cannot_prove"


def build_report(
    harness: Harness | None,
    plan: Plan | None,
    events: Sequence[Event],
    *,
    generated_utc: str,
    version: str,
    head: str = "",
    record_faults: Sequence[str] = (),
    due_again: Mapping[str, str] | None = None,
) -> ReportModel:
    """The report of a job. With the plan, each step stands as the board has it (readiness says how).

    harness        None where the profile can't be read any more: steps are then those that were recorded
    plan           None likewise
    head           hash of the last event, where the caller holds it; by default the last event's own
    record_faults  what verifying the record found; nothing is called PASS then
    due_again      step -> why it must be done again for a change of the profile that the record does not hold yet
    """
    facts = facts_of(events, plan)
    old = {**_reworked_steps(harness, facts), **_read(due_again or {}, facts), **facts.why}
    steps = plan.steps if plan is not None else ()
    rows = [_row(step, step.id, facts, old) for step in steps]
    planned = {step.id for step in steps}
    recorded = [_row(None, name, facts, old) for name in {**facts.in_force, **facts.fallen} if name not in planned]
    former: tuple[StepRow, ...] = tuple(recorded)
    if not steps:  # no plan to compare with: what was recorded is all there is
        rows, former = sorted(recorded, key=lambda row: STAGES.index(row.stage) if row.stage in STAGES else 99), ()
    doubts = _doubts(plan, facts, record_faults)
    outcome, outcome_text = _outcome(rows, facts, doubts)
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
        profile_changes=facts.profile_changes,
        connectors=connector_rows(harness, rows) if harness is not None else (),
        groups=_groups(rows),
        former=former,
        follow_ups=tuple(row_of(None, event) for event in facts.follow_ups),
        units=unit_rows(rows, harness),
        buses=bus_rows(rows, harness),
        lines=line_rows(rows),
        captures=facts.captures,
        record_faults=tuple(record_faults),
        coverage=_coverage(harness, plan, rows),
    )


def _coverage(harness: Harness | None, plan: Plan | None, rows: Sequence[StepRow]) -> Coverage | None:
    if harness is None or plan is None or not any(step.check in ISOLATION_CHECKS for step in plan.steps):
        return None
    passed = {row.id for row in rows if row.word is Word.PASS and not row.waived}
    return coverage_of(Context(harness, MeterSpec()), plan, passed)


def _row(step: Step | None, name: str, facts: Facts, old: Mapping[str, str]) -> StepRow:
    event = facts.in_force.get(name) or facts.fallen.get(name)
    waived = facts.waived.get(name)
    return row_of(
        step,
        event,
        times=facts.counts.get(name, 0),
        waived="" if waived is None else waived or "no reason given",
        stale=old.get(name, ""),
        former=facts.former.get(name, ()),
    )


def _read(due_again: Mapping[str, str], facts: Facts) -> dict[str, str]:
    return {name: f"the pin table was changed: {why}" for name, why in due_again.items() if name in facts.in_force}


def _reworked_steps(harness: Harness | None, facts: Facts) -> dict[str, str]:
    """Steps read before a rework of something that they name, and what that was.

    A rework that says itself which steps are due again has taken them out of force already.
    """
    found: dict[str, str] = {}
    for rework in facts.reworks:
        if rework.again is not None:
            continue
        for name, event in facts.in_force.items():
            if event.seq < rework.seq and _names(harness, event, rework):
                found[name] = f"read before the rework of {', '.join((*rework.runs, *rework.connectors))}"
    return found


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


def _doubts(plan: Plan | None, facts: Facts, record_faults: Sequence[str]) -> list[str]:
    """What keeps the whole report from saying PASS, whatever its rows say."""
    found = [f"the record is not as it was written ({record_faults[0]})"] if record_faults else []
    if plan is None:
        found.append("the plan can't be read, so what was not measured is not known")
    if not facts.understood:
        found.append("the record holds events that this version does not understand")
    return found


def _outcome(rows: Sequence[StepRow], facts: Facts, doubts: Sequence[str]) -> tuple[ExitCode, str]:
    """FAIL before UNSURE before PASS; a waiver with its reason counts as PASS, a skip without one as UNSURE."""
    open_words = [row.word for row in rows if not row.waived]
    fails = open_words.count(Word.FAIL)
    squawks = len(facts.open_squawks)
    if fails or squawks:
        found = f"{counted(squawks, 'open squawk')}, {counted(fails, 'failed step')}"
        return ExitCode.FAIL, "; ".join((found, *doubts))
    unsure = [
        f"{open_words.count(word)} {word.value.lower()}"
        for word in (Word.UNSURE, Word.STALE, Word.SKIPPED, Word.TO_DO)
        if word in open_words
    ]
    if unsure or not rows:
        unproved = f"nothing failed, but not all is proved: {', '.join(unsure) or 'nothing was measured'}"
        return ExitCode.UNSURE, "; ".join((*doubts, unproved))
    if doubts:
        return ExitCode.UNSURE, "; ".join(doubts)
    waived = sum(bool(row.waived) for row in rows)
    return ExitCode.PASS, "all steps pass" + (f", {waived} of them by waiver" if waived else "")
