"""One step and its reading in force as a row of the report."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from benchcheck.report import pick
from benchcheck.report.model import Former, StepRow, Word
from benchcheck.report.standing import outcome_of
from benchcheck.words.bench_state import BenchState
from benchcheck.words.event import Event, EventKind
from benchcheck.words.reading import format_quantity
from benchcheck.words.step import Stage, Step
from benchcheck.words.verdict import Band

STAGES = tuple(stage.value for stage in Stage)


def limit_words(low: float | None, high: float | None, unit: str) -> str:
    """A band as a person would say it: `at most 2.1 ohm`, `21.6 V to 26.4 V`."""
    if low is not None and high is not None:
        return f"{format_quantity(low, unit)} to {format_quantity(high, unit)}"
    if high is not None:
        return "none" if high == 0 and unit in ("frames", "identifiers") else f"at most {format_quantity(high, unit)}"
    return f"at least {format_quantity(low, unit)}" if low is not None else ""


def row_of(
    step: Step | None,
    event: Event | None,
    *,
    times: int = 0,
    waived: str = "",
    stale: str = "",
    former: Sequence[Event] = (),
) -> StepRow:
    """The row of a step of the plan, of an event that no plan knows, or of both. One of them must be there.

    stale   why the event doesn't count any more; empty where it does
    former  the step's other events, in order
    """
    body = event.body if event is not None else {}
    reading = pick.table(body, "reading")
    detail = pick.table(reading, "detail")
    low, high, unit, source = _band(step, body)
    red, black = pick.text(body, "red"), pick.text(body, "black")
    if step is not None and not red:
        red, black = step.red, step.black
    verdict = pick.table(body, "verdict")
    skipped = event is not None and event.kind == EventKind.SKIPPED
    reason = pick.text(verdict, "reason")
    said = pick.text(body, "reason") if skipped else pick.text(verdict, "text")
    return StepRow(
        id=step.id if step is not None else pick.text(body, "step"),
        check=pick.text(body, "check") or (step.check if step is not None else ""),
        stage=step.stage.value if step is not None else pick.text(body, "stage"),
        state=_state(step, body),
        question=pick.text(body, "question") or (step.question if step is not None else ""),
        contacts=" to ".join(part for part in (red, black) if part),
        limit=limit_words(low, high, unit),
        limit_source=source,
        reading=_reading(reading),
        uncertainty=_uncertainty(reading),
        word=_word(event, bool(stale)),
        reason=reason,
        text=f"{stale}: {said}" if stale and said else stale or said,
        note=pick.text(body, "note") or (step.note if step is not None else ""),
        instrument=pick.text(reading, "instrument"),
        who=event.who if event is not None else "",
        at_utc=event.at_utc if event is not None else "",
        seq=event.seq if event is not None else 0,
        times=times,
        waived=waived,
        subject=pick.texts(body, "subject") or (step.subject if step is not None else ()),
        value=pick.number(reading, "value"),
        half_width=pick.number(reading, "uncertainty"),
        low=low,
        high=high,
        unit=pick.text(reading, "unit") or unit,
        detail=detail,
        former=tuple(_former(other) for other in former),
    )


def _former(event: Event) -> Former:
    reading, verdict = pick.table(event.body, "reading"), pick.table(event.body, "verdict")
    skipped = event.kind == EventKind.SKIPPED
    return Former(
        word=_word(event, False),
        reading=_reading(reading),
        value=pick.number(reading, "value"),
        unit=pick.text(reading, "unit"),
        text=pick.text(event.body, "reason") if skipped else pick.text(verdict, "text"),
        who=event.who,
        at_utc=event.at_utc,
        seq=event.seq,
    )


def _word(event: Event | None, stale: bool) -> Word:
    if event is None:
        return Word.TO_DO
    if stale:
        return Word.STALE
    said = outcome_of(event)
    return Word(said) if said else Word.UNSURE  # a verdict that this version doesn't know proves nothing


def _band(step: Step | None, body: Mapping[str, object]) -> tuple[float | None, float | None, str, str]:
    """The band that was applied, as recorded; the plan's where nothing was recorded."""
    if "band" in body:
        band = pick.table(body, "band")
        return pick.number(band, "low"), pick.number(band, "high"), pick.text(band, "unit"), pick.text(band, "source")
    planned: Band | None = step.band if step is not None else None
    return (planned.low, planned.high, planned.unit, planned.source) if planned is not None else (None, None, "", "")


def _state(step: Step | None, body: Mapping[str, object]) -> str:
    state = pick.table(body, "state")
    if not state:
        return str(step.state) if step is not None else ""
    return str(
        BenchState(
            frozenset(pick.texts(state, "on_unit")),
            frozenset(pick.texts(state, "breakout")),
            frozenset(pick.texts(state, "lifted")),
            frozenset(pick.texts(state, "opened")),
            state.get("supply_on") is True,
        )
    )


def _reading(reading: Mapping[str, object]) -> str:
    state, unit = pick.text(reading, "state"), pick.text(reading, "unit")
    if state == "over":
        over = pick.number(reading, "over_above")
        return "OL" if over is None else f"OL (over {format_quantity(over, unit)})"
    if state == "none":
        return "no reading"
    value = pick.number(reading, "value")
    return "" if value is None else format_quantity(value, unit)


def _uncertainty(reading: Mapping[str, object]) -> str:
    width = pick.number(reading, "uncertainty")
    if pick.text(reading, "state") != "value" or not width or pick.number(reading, "value") is None:
        return ""
    return f"± {format_quantity(float(f'{width:.2g}'), pick.text(reading, 'unit'))}" if math.isfinite(width) else ""
