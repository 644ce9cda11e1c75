"""The bodies of the events that a run records, so that a report can be made from the events alone."""

from __future__ import annotations

from benchcheck.words.reading import Reading
from benchcheck.words.request import Request
from benchcheck.words.result import Result
from benchcheck.words.verdict import Band, Verdict


def reading_body(result: Result) -> dict[str, object]:
    """The body of `reading.taken` for a step of the plan."""
    step = result.step
    return {
        "step": step.id,
        "check": step.check,
        "stage": step.stage.value,
        "question": step.question,
        "subject": list(step.subject),
        "red": step.red,
        "black": step.black,
        "load_a": step.load_a,
        "band": band_json(step.band),
        "state": step.state.to_json(),
        "reading": result.reading.to_json(),
        "verdict": verdict_json(result.verdict),
        "note": step.note,
        "follow_up": False,
        # the limit at the profile's own ambient temperature, where the day's is another
        **({"basis": band_json(step.basis)} if step.basis is not None else {}),
    }


def follow_up_body(
    request: Request, reading: Reading, *, question: str, verdict: Verdict | None = None, band: Band | None = None
) -> dict[str, object]:
    """The body of `reading.taken` for a probe beside the plan: a diagnosis asked for it, or safety did."""
    return {
        "step": f"follow_up:{request.red}:{request.black}",
        "check": "follow_up",
        "stage": "power" if request.state.supply_on else "dead",
        "question": question,
        "subject": [request.red, request.black],
        "red": request.red,
        "black": request.black,
        "load_a": request.load_a,
        "band": band_json(band),
        "state": request.state.to_json(),
        "reading": reading.to_json(),
        "verdict": verdict_json(verdict),
        "note": "",
        "follow_up": True,
    }


def band_json(band: Band | None) -> dict[str, object] | None:
    """A limit as JSON values."""
    if band is None:
        return None
    return {"low": band.low, "high": band.high, "unit": band.unit, "source": band.source}


def verdict_json(verdict: Verdict | None) -> dict[str, object] | None:
    """A verdict as JSON values."""
    if verdict is None:
        return None
    return {"outcome": verdict.outcome.value, "reason": verdict.reason, "text": verdict.text}
