"""Classes: stories that no probe in ohms tells apart are told as one, with every place that the fault may be in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from benchcheck.diagnosis.hypothesis import Hypothesis
from benchcheck.diagnosis.next_probe import MOST_STORIES, outcomes, possible
from benchcheck.diagnosis.readings import Key, Readings
from benchcheck.diagnosis.stories import Case, Story

# Stories of one class may differ by the noise of what was read, so far (natural logarithm).
SAME_CLASS = 3.0
# Stories that are put into classes, likeliest first; what comes behind them is shown no more.
CLASSED = 12


@dataclass(frozen=True, slots=True)
class StoryClass:
    """Stories that can't be told apart: the likeliest of them, and how likely they are together."""

    story: Story
    members: tuple[Story, ...]
    faults: tuple[Hypothesis, ...]
    probability: float


def classes(readings: Readings, case: Case) -> list[StoryClass]:
    """The stories of a case in classes, likeliest first."""
    groups: list[list[Story]] = []
    for story in case.stories[:CLASSED]:
        for group in groups:
            if _one_off(group[0], story) is not None and not told_apart(readings, [group[0], story]):
                group.append(story)
                break
        else:
            groups.append([story])
    found = [StoryClass(g[0], tuple(g), tuple(_merged(g)), sum(story.probability for story in g)) for g in groups]
    return sorted(found, key=lambda entry: -entry.probability)


def _one_off(first: Story, story: Story) -> tuple[Hypothesis, Hypothesis] | None:
    """The one fault in which two stories differ, by kind the same."""
    if story.left != first.left or len(story.faults) != len(first.faults) or story.score < first.score - SAME_CLASS:
        return None
    mine = [fault for fault in first.faults if fault.key not in story.keys]
    other = [fault for fault in story.faults if fault.key not in first.keys]
    return (mine[0], other[0]) if len(mine) == len(other) == 1 and mine[0].kind is other[0].kind else None


def _merged(group: Sequence[Story]) -> list[Hypothesis]:
    alike: dict[Key, list[Hypothesis]] = {fault.key: [fault] for fault in group[0].faults}
    for story in group[1:]:
        pair = _one_off(group[0], story)
        if pair is not None:
            alike[pair[0].key].append(pair[1])
    return [one_class(faults) for faults in alike.values()]


def same_class(readings: Readings, case: Case, fault: Hypothesis) -> list[Hypothesis]:
    """A fault of the best story, and those of its kind that could stand in its place and that no probe tells from it."""
    alike = [fault]
    for story in case.stories[1:MOST_STORIES]:
        pair = _one_off(case.best, story)
        if pair is not None and pair[0].key == fault.key and not told_apart(readings, [case.best, story]):
            alike.append(pair[1])
    return alike


def told_apart(readings: Readings, stories: Sequence[Story]) -> bool:
    """Whether any probe parts these stories."""
    for probe in possible(readings, stories):
        predicted = [readings.predicted(story.faults, probe.state, probe.red, probe.black) for story in stories]
        if len(outcomes(readings, predicted)) > 1:
            return True
    return False


def one_class(alike: Sequence[Hypothesis]) -> Hypothesis:
    """Faults of one kind that the readings can't tell apart, as one: it names every place that it may be in."""
    if len(alike) == 1:
        return alike[0]
    where = tuple(dict.fromkeys(name for hypothesis in alike for name in hypothesis.where))
    texts = list(dict.fromkeys(hypothesis.text for hypothesis in alike))
    what, colon, _ = texts[0].partition(": ")
    if colon and all(text.startswith(what + colon) for text in texts):
        texts = [texts[0], *(text.removeprefix(what + colon) for text in texts[1:])]
    more = f", or at {len(texts) - 3} more places" if len(texts) > 4 else ""
    shown = texts[:3] if more else texts
    text = f"{', or '.join(shown)}{more} (the readings fit each)" if len(texts) > 1 else texts[0]
    return replace(alike[0], where=where, text=text)
