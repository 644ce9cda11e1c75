"""The report as JSON, schema `benchcheck.report/1`. Fields may be added under this name; none is renamed or removed.

    schema, generated_utc, version, title, simulated
    outcome      word (PASS FAIL UNSURE), exit_code, text
    profile      path, digest, changed (since the last event)
    record       events, chain, head {seq, hash}, started_utc, last_utc, verified, faults[]: what was altered since
    summary[]    stage, steps, words {PASS, FAIL, UNSURE, SKIPPED, STALE, "TO DO"}
    squawks[]    the open ones: id, kind, where[], stage, text, readings[], steps[], state, opened_utc, opened_by, event
    ended_squawks[]  the same, closed or waived, with ended_utc, ended_by, reason
    steps[]      id, check, stage, state, question, contacts, limit {low, high, unit, text, source}, reading {text, value,
                 unit, uncertainty}, word, reason, text, note, instrument, who, at_utc, event, times, waived, subject[],
                 former[] {reading {text, value, unit}, word, text, who, at_utc, event}: its readings that don't count
    former[], follow_ups[]  the same: steps of an earlier plan, and (without word) readings taken to find a fault
    connectors[] ref, family, unit, zone, stages {stage: {word, count}}
    units[]      unit, bus, word, state, first_s, boot_s, period_s, max_gap_s, text
    buses[]      bus, bitrate, frames, load_mean_percent, load_peak_percent, load_limit_percent, load_by_second[], errors,
                 strangers[]
    lines[]      link, unit, contact, word, bytes, good, bad, types {}, text
    isolation    readings, contacts, readings_per_contact, nets, groups, classes[] {name, pairs, planned, proved}: pairs of
                 conducting groups that the plan proves apart, and those proved by now; null where there is no plan
    sessions[], waivers[], captures[]
    reworks[]    contacts[], runs[], connectors[], reason, due_again (how many steps that were done; null: not
                 recorded), who, at_utc, event
    profile_changes[]  old, new (digests), known, lines[], cosmetic[], due_again, new_steps, gone_steps (how many), who,
                 at_utc, event

Limits have six significant digits. Times are RFC 3339 or seconds. A number that is not known is null; NaN never occurs.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping

from benchcheck.plan.coverage import coverage_json
from benchcheck.report.facts import Session, SquawkRow
from benchcheck.report.model import ReportModel, StepRow
from benchcheck.words.errors import ExitCode

SCHEMA = "benchcheck.report/1"

Json = dict[str, object]


def report_json(model: ReportModel) -> Json:
    """The report as JSON values."""
    document: Json = {
        "schema": SCHEMA,
        "generated_utc": model.generated_utc,
        "version": model.version,
        "title": model.title,
        "simulated": model.simulated,
        "outcome": {
            "word": outcome_word(model.outcome),
            "exit_code": int(model.outcome),
            "text": model.outcome_text,
        },
        "profile": {"path": model.profile, "digest": model.profile_digest, "changed": model.profile_changed},
        "record": {
            "events": model.events,
            "chain": model.chain,
            "head": {"seq": model.head_seq, "hash": model.head_hash},
            "started_utc": model.started_utc,
            "last_utc": model.last_utc,
            "verified": not model.record_faults,
            "faults": list(model.record_faults),
        },
        "summary": [
            {"stage": row.stage, "steps": row.steps, "words": {word.value: count for word, count in row.words.items()}}
            for row in model.summary
        ],
        "isolation": None if model.coverage is None else coverage_json(model.coverage),
        "squawks": [_squawk(row) for row in model.squawks],
        "ended_squawks": [_squawk(row) for row in model.ended_squawks],
        "steps": [_step(row) for row in model.steps],
        "former": [_step(row) for row in model.former],
        "follow_ups": [_follow_up(row) for row in model.follow_ups],
        "connectors": [
            {
                "ref": row.ref,
                "family": row.family,
                "unit": row.unit,
                "zone": row.zone,
                "stages": {
                    stage: {"word": word.value, "count": count} for stage, (word, count) in row.stages.items() if word
                },
            }
            for row in model.connectors
        ],
        "units": [
            {
                "unit": row.unit,
                "bus": row.bus,
                "word": row.word.value,
                "state": row.state,
                "first_s": row.first_s,
                "boot_s": row.boot_s,
                "period_s": row.period_s,
                "max_gap_s": row.max_gap_s,
                "text": row.text,
            }
            for row in model.units
        ],
        "buses": [
            {
                "bus": row.bus,
                "bitrate": row.bitrate,
                "frames": row.frames,
                "load_mean_percent": row.load_mean_percent,
                "load_peak_percent": row.load_peak_percent,
                "load_limit_percent": row.load_limit_percent,
                "load_by_second": list(row.load_by_second),
                "errors": row.errors,
                "strangers": list(row.strangers),
            }
            for row in model.buses
        ],
        "lines": [
            {
                "link": row.link,
                "unit": row.unit,
                "contact": row.contact,
                "word": row.word.value,
                "bytes": row.bytes,
                "good": row.good,
                "bad": row.bad,
                "types": dict(row.types),
                "text": row.text,
            }
            for row in model.lines
        ],
        "sessions": [_session(row) for row in model.sessions],
        "waivers": [
            {"what": row.what, "reason": row.reason, "who": row.who, "at_utc": row.at_utc, "event": row.seq}
            for row in model.waivers
        ],
        "reworks": [
            {
                "contacts": list(row.contacts),
                "runs": list(row.runs),
                "connectors": list(row.connectors),
                "reason": row.reason,
                "due_again": row.again,
                "who": row.who,
                "at_utc": row.at_utc,
                "event": row.seq,
            }
            for row in model.reworks
        ],
        "profile_changes": [
            {
                "old": row.old,
                "new": row.new,
                "known": row.known,
                "lines": list(row.lines),
                "cosmetic": list(row.cosmetic),
                "due_again": row.again,
                "new_steps": row.new_steps,
                "gone_steps": row.gone_steps,
                "who": row.who,
                "at_utc": row.at_utc,
                "event": row.seq,
            }
            for row in model.profile_changes
        ],
        "captures": [
            {"file": row.file, "sha256": row.sha256, "bytes": row.bytes, "event": row.seq} for row in model.captures
        ],
    }
    return {name: _finite(value) for name, value in document.items()}


def report_text(model: ReportModel) -> str:
    """The report as JSON text."""
    return json.dumps(report_json(model), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def outcome_word(outcome: ExitCode) -> str:
    """PASS, FAIL or UNSURE."""
    return outcome.name


def _squawk(row: SquawkRow) -> Json:
    return {
        "id": row.id,
        "kind": row.kind,
        "where": list(row.where),
        "stage": row.stage,
        "text": row.text,
        "readings": [dict(reading) for reading in row.readings],
        "steps": list(row.steps),
        "state": row.state.value,
        "opened_utc": row.opened_utc,
        "opened_by": row.opened_by,
        "event": row.opened_seq,
        "ended_utc": row.ended_utc,
        "ended_by": row.ended_by,
        "reason": row.reason,
    }


def _step(row: StepRow) -> Json:
    return {
        "id": row.id,
        "check": row.check,
        "stage": row.stage,
        "state": row.state,
        "question": row.question,
        "contacts": row.contacts,
        "limit": {
            "low": _rounded(row.low),
            "high": _rounded(row.high),
            "unit": row.unit,
            "text": row.limit,
            "source": row.limit_source,
        },
        "reading": {"text": row.reading, "value": row.value, "unit": row.unit, "uncertainty": row.half_width},
        "word": row.word.value,
        "reason": row.reason,
        "text": row.text,
        "note": row.note,
        "instrument": row.instrument,
        "who": row.who,
        "at_utc": row.at_utc,
        "event": row.seq,
        "times": row.times,
        "waived": row.waived,
        "subject": list(row.subject),
        "former": [
            {
                "reading": {"text": other.reading, "value": other.value, "unit": other.unit},
                "word": other.word.value,
                "text": other.text,
                "who": other.who,
                "at_utc": other.at_utc,
                "event": other.seq,
            }
            for other in row.former
        ],
    }


def _rounded(limit: float | None) -> float | None:
    """A computed limit without the digits that no meter sees."""
    return None if limit is None else float(f"{limit:.6g}")


def _follow_up(row: StepRow) -> Json:
    return {name: value for name, value in _step(row).items() if name not in ("word", "waived", "times", "former")}


def _session(row: Session) -> Json:
    return {
        "who": row.who,
        "started_utc": row.started_utc,
        "ended_utc": row.ended_utc,
        "outcome": row.outcome,
        "instruments": [{"name": name, "text": words} for name, words in row.instruments],
        "passive": [{"name": name, "text": words} for name, words in row.passive],
        "meter": row.meter,
        "ambient_c": row.ambient_c,
        "ambient_said_by": row.ambient_said_by,
        "leads": list(row.leads),
        "simulated": row.simulated,
        "cautions": list(row.cautions),
        "cautions_by": row.cautions_by,
        "cautions_utc": row.cautions_utc,
    }


def _finite(value: object) -> object:
    """JSON has no NaN and no infinity: what is not a number is null."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(name): _finite(entry) for name, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(entry) for entry in value]
    return value
