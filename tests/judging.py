"""What the checks' tests share: readings as an instrument gives them, and a check driven from a list of answers."""

from __future__ import annotations

from collections.abc import Mapping

from model_bench import shipped

from benchcheck.checks.kind import Judged, all_kinds
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Step
from benchcheck.words.verdict import Verdict

METER = MeterSpec()


def ohms(value: float) -> Reading:
    return Reading(ReadingState.VALUE, "ohm", value, METER.ohm_uncertainty(value))


def volts(value: float) -> Reading:
    return Reading(ReadingState.VALUE, "V", value, METER.volt_uncertainty(value))


def amps(value: float) -> Reading:
    return Reading(ReadingState.VALUE, "A", value, METER.amp_uncertainty(value))


def over(unit: str = "ohm", above: float = METER.ohm_max) -> Reading:
    return Reading(ReadingState.OVER, unit, over_above=above)


def heard(unit: str = "frames", **detail: object) -> Reading:
    return Reading(ReadingState.VALUE, unit, 1.0, detail=detail)


def step_of(step_id: str, profile: str = "survey_launch") -> Step:
    return shipped(profile)[1].by_id[step_id]


def judged(step: Step, *answers: Reading) -> tuple[Judged, list[Request]]:
    """What a check ends with when it is given these answers in turn, and what it asked for."""
    measuring = all_kinds()[step.check].measure(step)
    asked = [next(measuring)]
    try:
        for answer in answers:
            asked.append(measuring.send(answer))
    except StopIteration as stop:
        assert len(asked) == len(answers), "it did not take all answers"
        return stop.value, asked
    raise AssertionError(f"it asks for more: {asked[-1]}")


def verdict(step: Step, *answers: Reading) -> Verdict:
    return judged(step, *answers)[0].verdict


def said(step: Step, *answers: Reading) -> tuple[str, str]:
    """Outcome and reason code."""
    found = verdict(step, *answers)
    return found.outcome.value, found.reason


def bus_detail(**more: object) -> Mapping[str, object]:
    return {
        "frames": 100,
        "load_mean_percent": 10.0,
        "load_peak_percent": 12.0,
        "dropped_frames": 0,
        "error_frames": 0,
        "units": {},
        "strangers": [],
        **more,
    }
