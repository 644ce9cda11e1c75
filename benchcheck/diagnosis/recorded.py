"""The probes beside the plan that a job record holds, as readings to weigh again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from benchcheck.checks.kind import Context
from benchcheck.diagnosis.next_probe import probed
from benchcheck.diagnosis.powered import DROP_PROBE, EXCESS_V
from benchcheck.words.bench_state import BenchState
from benchcheck.words.event import Event, EventKind
from benchcheck.words.reading import Reading, ReadingState, reading_from_json
from benchcheck.words.request import Request
from benchcheck.words.result import Result
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome, Verdict


def recorded_probes(context: Context, events: Iterable[Event]) -> list[Result]:
    """Probes in ohms, and of what a piece of a way loses under load, that were taken since the last step of their stage was
    read, or something was reworked.

    What was probed before that may be mended: it speaks of a harness that is no more.
    """
    found: dict[object, list[Result]] = {Stage.DEAD.value: [], Stage.POWER.value: []}
    for event in events:
        stage = event.body.get("stage")
        if event.kind in (EventKind.REWORK, EventKind.PROFILE_CHANGED):
            for results in found.values():
                results.clear()
        elif event.kind == EventKind.READING and stage in found:
            if not event.body.get("follow_up"):
                found[stage].clear()
            elif (result := _probe(context, event.body)) is not None:
                found[stage].append(result)
    return [result for results in found.values() for result in results]


def _probe(context: Context, body: Mapping[str, object]) -> Result | None:
    document = body.get("reading")
    if not isinstance(document, Mapping):
        return None
    try:
        reading, state = reading_from_json(document), BenchState.from_json(body.get("state"))
        load_a = float(str(body.get("load_a", 0.0)))
    except (ValueError, KeyError):
        return None
    red, black = str(body.get("red", "")), str(body.get("black", ""))
    if reading.unit == "ohm":
        # a breakout lead joins nothing
        return probed(Request(Quantity.OHMS, replace(state, breakout=frozenset()), red, black), reading)
    if load_a > 0 and reading.unit == "V" and reading.state is ReadingState.VALUE:
        return _drop(context, red, black, state, load_a, reading)
    return None


def _drop(context: Context, red: str, black: str, state: BenchState, load_a: float, reading: Reading) -> Result:
    excess_v = abs(reading.value) - load_a * context.circuit(state).ohms(red, black)
    too_much = excess_v > EXCESS_V
    step = Step(
        f"{DROP_PROBE}:{red}:{black}",
        DROP_PROBE,
        Stage.POWER,
        Quantity.VOLTS,
        state,
        f"what is lost between {red} and {black} at {load_a:g} A?",
        (red, black),
        red,
        black,
        load_a=load_a,
    )
    verdict = Verdict(Outcome.FAIL if too_much else Outcome.PASS, "too_much" if too_much else "in_band", reading.text)
    return Result(step, reading, verdict)
