"""The next best probe: the reading that is expected to tell most between the stories that fit, for the least effort.

A probe that the stories predict alike tells nothing. What it is expected to tell is the entropy of its outcomes: how evenly it parts
the stories by their probabilities. Effort is what `plan.cost` says of it: moves of the leads, plugs, clips, the reading.
Each contact in which a conductor may sit can be probed by itself; all of them at once with a shorting plug on the connector,
and some of them with clips.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchcheck.diagnosis.hypothesis import OPEN_OHM, Hypothesis
from benchcheck.diagnosis.likelihood import spread_ohm
from benchcheck.diagnosis.readings import PROBED, Readings
from benchcheck.diagnosis.stories import Case, Story
from benchcheck.plan.cost import effort
from benchcheck.plan.leads import LeadRule
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import contact_key, pin_of, ref_of
from benchcheck.words.reading import Reading
from benchcheck.words.request import Request
from benchcheck.words.result import Result
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome, Verdict

# A class of stories stands out from here on.
STANDS_OUT = 0.95
# Probes for one case, at most.
MOST_PROBES = 8
# Stories below this share don't ask for probes, and a probe that is expected to tell less than this (bits) isn't worth one.
LEAST_SHARE = 2e-3
LEAST_BITS = 0.02
# Two predictions are told apart where they lie this many standard deviations from each other.
APART = 4.0
MOST_STORIES = 60


@dataclass(frozen=True, slots=True)
class Probe:
    """A reading that would tell. `parts` are the outcomes it parts the stories into: indices, likeliest first."""

    red: str
    black: str
    state: BenchState = ALL_OPEN
    bits: float = 0.0
    effort_s: float = 0.0
    parts: tuple[tuple[int, ...], ...] = ()
    predicted: tuple[float, ...] = ()

    @property
    def ends(self) -> tuple[str, str]:
        return self.red, self.black

    @property
    def request(self) -> Request:
        return Request(Quantity.OHMS, self.state, self.red, self.black)


def probe_step(red: str, black: str, state: BenchState) -> Step:
    """A probe beside the plan, as a step: it has no limit of its own."""
    question = f"where does the conductor at {red} go?"
    return Step(
        f"follow_up:{red}:{black}", "follow_up", Stage.DEAD, Quantity.OHMS, state, question, (red, black), red, black
    )


def probed(probe: Probe | Request, reading: Reading) -> Result:
    """A probe that was taken, as one more result to weigh."""
    return Result(
        probe_step(probe.red, probe.black, probe.state), reading, Verdict(Outcome.UNSURE, PROBED, reading.text)
    )


def next_probe(readings: Readings, case: Case, left: int = MOST_PROBES, *, last: Result | None = None) -> Probe | None:
    """The probe that tells most per effort; None where one class stands out, or no probe parts what is left.

    left  how many probes may still be taken: where they are few, what tells most goes before what is cheap
    last  where leads and plugs are
    """
    stories = alive(case)
    if left <= 0 or len(stories) < 2 or stories[0].probability >= STANDS_OUT * _whole(stories):
        return None
    weights = [story.probability / _whole(stories) for story in stories]
    found = [_judged(readings, stories, weights, probe, last) for probe in possible(readings, stories)]
    found = [
        probe
        for probe in found
        if probe.bits >= LEAST_BITS and not readings.was_taken(probe.red, probe.black, probe.state)
    ]
    if not found:
        return None
    needed = math.ceil(math.log2(len(stories)))
    if needed >= left - 2:
        return max(found, key=lambda p: (round(p.bits, 3), -p.effort_s, p.red, p.black))
    return max(found, key=lambda p: (p.bits / p.effort_s, p.red, p.black))


def alive(case: Case) -> list[Story]:
    """The stories that are worth a probe."""
    return [story for story in case.stories[:MOST_STORIES] if story.probability >= LEAST_SHARE]


def _whole(stories: Sequence[Story]) -> float:
    return sum(story.probability for story in stories)


def _judged(
    readings: Readings, stories: Sequence[Story], weights: Sequence[float], probe: Probe, last: Result | None
) -> Probe:
    predicted = [readings.predicted(story.faults, probe.state, probe.red, probe.black) for story in stories]
    parts = outcomes(readings, predicted)
    shares = [sum(weights[index] for index in part) for part in parts]
    bits = -sum(share * math.log2(share) for share in shares if share > 0)
    return Probe(
        probe.red, probe.black, probe.state, bits, _effort_s(readings, probe, last), tuple(parts), tuple(predicted)
    )


def outcomes(readings: Readings, predicted: Sequence[float]) -> list[tuple[int, ...]]:
    """Predictions that a reading tells apart: open, and values that lie far enough from each other."""
    opened = tuple(index for index, ohm in enumerate(predicted) if ohm > OPEN_OHM)
    rest = sorted((ohm, index) for index, ohm in enumerate(predicted) if ohm <= OPEN_OHM)
    parts: list[list[int]] = []
    before = -math.inf
    for ohm, index in rest:
        spread = spread_ohm(ohm, readings.context.meter.ohm_uncertainty(ohm))
        if ohm - before > APART * spread:
            parts.append([])
        parts[-1].append(index)
        before = ohm
    return [part for part in (opened, *map(tuple, parts)) if part]


def _effort_s(readings: Readings, probe: Probe, last: Result | None) -> float:
    step = probe_step(probe.red, probe.black, probe.state)
    zones = readings.zones
    rule = LeadRule()
    if last is None:
        return effort([step], zones, rule).seconds
    return effort([last.step, step], zones, rule).seconds - effort([last.step], zones, rule).seconds


# --- which probes there are ------------------------------------------------------------------------------------


def possible(readings: Readings, stories: Sequence[Story]) -> Iterator[Probe]:
    """Every probe that could tell these stories apart, each once."""
    seen: set[tuple[str, str, BenchState]] = set()
    for probe in (*_single(readings, stories), *_gathered(readings, stories)):
        low, high = sorted(probe.ends)
        key = (low, high, probe.state)
        if low != high and key not in seen:
            seen.add(key)
            yield probe


def _single(readings: Readings, stories: Sequence[Story]) -> Iterator[Probe]:
    """From the other end of each conductor that may have moved to where it may be; across each joint and part."""
    for story in stories:
        for fault in story.faults:
            for edge in fault.add:
                yield Probe(edge.a, edge.b)
            for far, _, seat in _moves(readings, story, fault):
                yield Probe(far, seat)
            for wire in sorted(fault.remove):
                run = readings.context.harness.run(wire)
                if run is not None and run.b:
                    yield Probe(run.a, run.b)


def seats_of(readings: Readings, story: Story, fault: Hypothesis) -> dict[str, list[Probe]]:
    """Far end of each conductor that a fault moves -> the probes from there to where its moved end then is."""
    found: dict[str, list[Probe]] = {}
    for far, _, seat in _moves(readings, story, fault):
        found.setdefault(far, []).append(Probe(far, seat))
    return found


def _moves(readings: Readings, story: Story, fault: Hypothesis) -> Iterator[tuple[str, str, str]]:
    """For each conductor that a fault moves: its other end, where the moved end should be, and where it then is."""
    for wire in sorted(fault.movers):
        run = readings.context.harness.run(wire)
        if run is None or not run.b:
            continue
        for end, far in ((run.a, run.b), (run.b, run.a)):
            seat = fault.where_to.get(end)
            if seat is None or far in fault.where_to:
                continue
            for other in story.faults:  # its far end may have moved as well
                if other is not fault and wire in other.movers:
                    far = other.where_to.get(far, far)
            yield far, end, seat


def _gathered(readings: Readings, stories: Sequence[Story]) -> Iterator[Probe]:
    """Many contacts at once: the vacant ones in which one end may sit, joined to chassis by a plug or by clips."""
    chassis = readings.context.harness.chassis
    seats: dict[tuple[str, str], list[str]] = {}
    for story in stories:
        for fault in story.faults:
            for far, end, seat in _moves(readings, story, fault):
                if readings.context.nets.net_of(seat) is None and pin_of(seat):
                    seats.setdefault((far, ref_of(end)), []).append(seat)
    for (far, ref), all_of in seats.items():
        several = list(dict.fromkeys(all_of))
        if len(several) < 3 or far == chassis or ref_of(far) == ref:
            continue
        plug = BenchState(plugs=frozenset({ref}))
        for state in (plug, *_clipped(several)):
            yield Probe(far, chassis, state)


def _clipped(contacts: Sequence[str]) -> Iterator[BenchState]:
    """The likelier half of some contacts, and of them the halves that are left: for halving."""
    half = len(contacts) // 2
    if half >= 2:
        yield BenchState(links=frozenset(sorted(contacts[:half], key=contact_key)))
    yield BenchState(links=frozenset(contacts))
