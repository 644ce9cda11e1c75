"""The stories that fit: sets of faults for readings that failed, each with how likely it is.

Readings that one fault could stand behind together are one case; cases are told apart, since what is true of one says nothing of
another. Within a case stories grow fault by fault: the first reading that is not accounted for asks for a fault that does,
or is left to something that is not on the list. The likeliest are kept at each step (a beam), so the work is bounded.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from benchcheck.diagnosis.candidates import candidates
from benchcheck.diagnosis.hypothesis import Hypothesis
from benchcheck.diagnosis.powered import Powered
from benchcheck.diagnosis.priors import UNLISTED, UNLISTED_READING, UNLISTED_VERDICT, log_chance, togetherness
from benchcheck.diagnosis.readings import Key, Piece, Readings
from benchcheck.harness.nets import Groups
from benchcheck.words.contact import ref_of
from benchcheck.words.step import Quantity

# How many stories of a case are kept while they grow, how many faults one may have at most, and how much less likely than the
# best one a story may be (natural logarithm) before it is no longer kept.
WIDTH = 160
MOST_FAULTS = 12
KEPT = 18.0
# A case of more readings than this is worked through with fewer stories at a time, and each may have more faults.
LARGE = 30
NARROW = 3
# Where more readings than this ask for a story, it is not faults of a harness but of the bench, or of the profile: the rest is left.
MOST_ODD = 150
# So many faults are weighed for each reading; where there are more, the commoner ones.
MOST_WEIGHED = 60
# A fault accounts for a failed reading where that becomes this much likelier by it.
GAINED = 2.0


@dataclass(frozen=True, slots=True)
class Story:
    """Faults that are there together; `left` are the readings that something not on the list must stand behind."""

    faults: tuple[Hypothesis, ...]
    left: frozenset[int] = frozenset()
    score: float = 0.0
    probability: float = 0.0

    @property
    def keys(self) -> frozenset[Key]:
        return frozenset(fault.key for fault in self.faults)


@dataclass(frozen=True, slots=True)
class Case:
    """Readings that have one story together: their numbers, and the stories, likeliest first."""

    odd: tuple[int, ...]
    stories: tuple[Story, ...]

    @property
    def best(self) -> Story:
        return self.stories[0]


def cases(readings: Readings, among: Iterable[int] | None = None) -> list[Case]:
    """Every case among the readings that ask for a story, or among some of them, in the order in which they were read."""
    odd = readings.odd() if among is None else sorted(among)
    if not odd:
        return []
    if len(odd) > MOST_ODD:
        rest = frozenset(odd[MOST_ODD:])
        left = Story((), rest, score(readings, (), rest), 1.0)
        return [*cases(readings, odd[:MOST_ODD]), Case(tuple(sorted(rest)), (left,))]
    failed = [readings.results[number] for number in odd]
    powered = Powered(readings.context, readings.verdicts, readings.predicted)
    by_verdict = [result for result in failed if result.step.quantity is not Quantity.OHMS]
    listed = [*candidates(readings.context, failed), *(powered.candidates(by_verdict) if by_verdict else ())]
    touching: dict[Piece, list[Hypothesis]] = {}
    for fault in listed:
        for piece in readings.pieces(fault):
            touching.setdefault(piece, []).append(fault)
    helps = {number: _helpful(readings, number, touching) for number in odd}
    groups: Groups[int] = Groups()
    by_fault: dict[Key, int] = {}
    for number in odd:
        groups.add(number)
        for fault in helps[number]:
            first = by_fault.setdefault(fault.key, number)
            if first != number:
                groups.join(first, number)
    found = [_case(readings, sorted(group), helps) for group in groups.groups()]
    return sorted(found, key=lambda case: case.odd[0])


def _helpful(readings: Readings, number: int, touching: Mapping[Piece, Sequence[Hypothesis]]) -> Sequence[Hypothesis]:
    """The faults that account for a reading by themselves; of a probe all that touch it, since it may take another as well."""
    step = readings.results[number].step
    if readings.is_probe(number):
        near = [fault for end in (step.red, step.black) for fault in touching.get(readings.piece_of(end), ())]
        return list({fault.key: fault for fault in near}.values())
    return [fault for fault in touching.get(readings.piece_read(number), ()) if _accounts(readings, (fault,), number)]


def _accounts(readings: Readings, faults: Sequence[Hypothesis], number: int) -> bool:
    """Whether faults account for a reading that asks for a story."""
    if readings.is_probe(number):
        return readings.explained(faults, number)
    return readings.explained(faults, number) and readings.likely(faults, number) > readings.as_planned(number) + GAINED


def _case(readings: Readings, odd: Sequence[int], helps: Mapping[int, Sequence[Hypothesis]]) -> Case:
    width, most = (WIDTH, MOST_FAULTS) if len(odd) <= LARGE else (NARROW, 3 * MOST_FAULTS)
    grown: list[Story] = [Story(())]
    whole: dict[tuple[frozenset[Key], frozenset[int]], Story] = {}
    for _ in range(most + len(odd)):
        further: dict[tuple[frozenset[Key], frozenset[int]], Story] = {}
        for story in grown:
            focus = next((n for n in odd if n not in story.left and not _accounts(readings, story.faults, n)), None)
            if focus is None:
                if not any(_accounts(readings, story.faults, n) for n in story.left):  # else it is told without them
                    whole.setdefault((story.keys, story.left), story)
                continue
            for longer in _longer(readings, story, focus, helps[focus], most):
                further.setdefault((longer.keys, longer.left), longer)
        if not further:
            break
        top = max(story.score for story in (*further.values(), *whole.values()))
        grown = sorted(further.values(), key=_order)[:width]
        grown = [story for story in grown if story.score > top - KEPT]
    return Case(tuple(odd), weighed(whole.values()))


def _longer(readings: Readings, story: Story, focus: int, faults: Sequence[Hypothesis], most: int) -> Iterable[Story]:
    if len(story.faults) < most:
        for fault in faults:
            if any(_clash(fault, other) for other in story.faults):
                continue
            more = tuple(sorted((*story.faults, fault), key=lambda f: f.key))
            if _accounts(readings, more, focus):
                yield Story(more, story.left, score(readings, more, story.left))
    left = story.left | {focus}
    yield Story(story.faults, left, score(readings, story.faults, left))


def _clash(one: Hypothesis, other: Hypothesis) -> bool:
    """Whether two faults can't be there together: the same one, or both change one end of a conductor."""
    if one.key == other.key:
        return True
    if one.remove & other.remove:
        return True
    if one.remove & other.movers or other.remove & one.movers:
        # one of several exchanged conductors may be open as well; of one that is open, no other seat can be told
        return len(one.movers | other.movers) < 2
    return bool(one.movers & other.movers) and not one.where_to.keys().isdisjoint(other.where_to)


def score(readings: Readings, faults: Sequence[Hypothesis], left: frozenset[int]) -> float:
    """The logarithm of how likely a story is, against a sound harness that has read so by accident."""
    prior = sum(log_chance(fault.kind, fault.rarity) for fault in faults)
    together = togetherness(frozenset(map(ref_of, readings.places(fault))) for fault in faults)
    unlisted = UNLISTED if left else 0.0
    for number in left:
        in_ohms = readings.results[number].step.quantity is Quantity.OHMS
        unlisted += UNLISTED_READING if in_ohms else UNLISTED_VERDICT
    return prior + together + unlisted + readings.gain(faults)


def weighed(stories: Iterable[Story]) -> tuple[Story, ...]:
    """Stories with their probabilities, likeliest first."""
    ordered = sorted(stories, key=_order)
    if not ordered:
        return ()
    weights = [math.exp(story.score - ordered[0].score) for story in ordered]
    whole = sum(weights)
    return tuple(
        Story(story.faults, story.left, story.score, weight / whole)
        for story, weight in zip(ordered, weights, strict=True)
    )


def _order(story: Story) -> tuple[float, list[Key]]:
    return -story.score, [fault.key for fault in story.faults]
