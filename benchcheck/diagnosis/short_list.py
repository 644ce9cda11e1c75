"""The short list: what may stand behind failed readings, how likely each is, what speaks for it and against, and the next probe.

A probability is of the stories against each other, given the priors of `priors` and every reading in ohms that was taken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.diagnosis.classes import StoryClass, classes
from benchcheck.diagnosis.hypothesis import OPEN_OHM, Hypothesis
from benchcheck.diagnosis.narrowing import is_follow_up
from benchcheck.diagnosis.next_probe import STANDS_OUT, Probe, next_probe
from benchcheck.diagnosis.readings import Readings
from benchcheck.diagnosis.stories import Case, Story, cases
from benchcheck.words.reading import format_quantity
from benchcheck.words.result import Result
from benchcheck.words.step import Quantity

# Lines of the short list, readings that are told for each and against it, and the share below which a line is left out.
SHOWN = 5
TOLD = 4
LEAST_SHOWN = 0.005
# A reading speaks for a story, or against it, where it is that much likelier with it, or without (natural logarithm).
SPEAKS = 1.0


@dataclass(frozen=True, slots=True)
class Suspect:
    """One line of a short list: faults that are there together, or nothing that is known where there are none.

    left     steps whose readings none of these faults explains
    favour   what speaks for it, in words
    against  what speaks against it, in words
    """

    probability: float
    faults: tuple[Hypothesis, ...]
    left: tuple[str, ...]
    favour: tuple[str, ...]
    against: tuple[str, ...]

    @property
    def text(self) -> str:
        """The line in words."""
        told = "; and ".join(fault.text for fault in self.faults)
        if not self.left:
            return told
        unlisted = "none of the faults known to this tool fits"
        return f"{told}; beside that {unlisted} {', '.join(self.left[:TOLD])}" if told else unlisted


@dataclass(frozen=True, slots=True)
class Meaning:
    """An outcome of a probe, in words, and the lines of the short list (from 0) that it would speak for."""

    reads: str
    lines: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ShortList:
    """What may stand behind some failed steps, likeliest first, and the probe that would tell; None where none would."""

    steps: tuple[str, ...]
    suspects: tuple[Suspect, ...]
    probe: Probe | None
    meanings: tuple[Meaning, ...]

    @property
    def stands_out(self) -> bool:
        """Whether the first line is as good as certain, as far as readings in ohms go."""
        return self.suspects[0].probability >= STANDS_OUT

    @property
    def none_fits(self) -> bool:
        """Whether the likeliest is that something is there that this tool doesn't know."""
        return bool(self.suspects[0].left)


def short_lists(readings: Readings) -> list[ShortList]:
    """One for each case among the readings, in the order of their steps."""
    return [short_list(readings, case) for case in cases(readings)]


def short_list(readings: Readings, case: Case) -> ShortList:
    """The short list of a case."""
    found = classes(readings, case)
    shown = [entry for entry in found[:SHOWN] if entry.probability >= LEAST_SHOWN]
    probe = next_probe(readings, case, last=readings.last_probe)
    return ShortList(
        tuple(readings.results[n].step.id for n in case.odd if not is_follow_up(readings.results[n])),
        tuple(_suspect(readings, case, entry, shown) for entry in shown),
        probe,
        () if probe is None else tuple(_meanings(readings, probe, shown)),
    )


def _suspect(readings: Readings, case: Case, entry: StoryClass, shown: Sequence[StoryClass]) -> Suspect:
    story = entry.story
    rivals = [other.story for other in shown if other is not entry]
    favour: list[tuple[float, str]] = []
    against: list[tuple[float, str]] = []
    for number in sorted({*case.odd, *readings.reach(story.faults)}):
        result = readings.results[number]
        weight = readings.likely(story.faults, number) - readings.as_planned(number)
        if is_follow_up(result) and rivals:  # a probe was taken to tell stories apart: it weighs between them
            best = max(readings.likely(rival.faults, number) for rival in rivals)
            weight = max(weight, readings.likely(story.faults, number) - best)
        line = _reads(readings, story, result)
        if number in story.left:
            against.append((math.inf, f"{line}: not explained"))
        elif weight > SPEAKS:
            favour.append((weight, line))
        elif weight < -SPEAKS or not readings.explained(story.faults, number):
            against.append((-weight, line))
    left = tuple(readings.results[number].step.id for number in sorted(story.left))
    return Suspect(entry.probability, entry.faults, left, _told(favour), _told(against))


def _told(lines: list[tuple[float, str]]) -> tuple[str, ...]:
    ordered = [line for _, line in sorted(lines, key=lambda entry: (-entry[0], entry[1]))]
    more = [f"and {len(ordered) - TOLD} more readings"] if len(ordered) > TOLD + 1 else []
    return (*ordered[: TOLD + (not more)], *more)


def _reads(readings: Readings, story: Story, result: Result) -> str:
    step = result.step
    if step.quantity is not Quantity.OHMS:
        return f"{step.question} {result.outcome.value}: {result.verdict.text}"
    planned = readings.predicted((), step.state, step.red, step.black)
    here = readings.predicted(story.faults, step.state, step.red, step.black)
    beside = f" ({', '.join(parts)})" if (parts := state_words(step.state)) else ""
    with_it = f", with this {ohms_words(here)}" if story.faults else ""
    return f"{step.red} to {step.black}{beside} reads {result.reading.text}: planned {ohms_words(planned)}{with_it}"


def ohms_words(ohm: float) -> str:
    """Predicted ohms as a person would say them."""
    if ohm > OPEN_OHM:
        return "open"
    return "below 1 ohm" if ohm < 1.0 else f"about {format_quantity(float(f'{ohm:.3g}'), 'ohm')}"


def state_words(state: object) -> list[str]:
    """What is special about a bench state on a dead bench, in short."""
    text = str(state)
    return [part for part in text.split("; ") if part not in ("supply off", "all connectors open")]


def _meanings(readings: Readings, probe: Probe, shown: Sequence[StoryClass]) -> list[Meaning]:
    found: dict[str, list[int]] = {}
    for line, entry in enumerate(shown):
        ohm = readings.predicted(entry.story.faults, probe.state, probe.red, probe.black)
        found.setdefault(ohms_words(ohm), []).append(line)
    return [Meaning(reads, tuple(lines)) for reads, lines in found.items()]
