"""What changed between two recordings of one bench, ordered by how much it matters.

Rules (k = 4 standard errors, and the floors: common practice, no source):

gone, new   an identifier sent on time: none of it where at least 5 were due; one sent in bursts or now and then: where at
            least 10 bursts were due. Fewer: UNSURE. With dropped frames no absence is certain: UNSURE. A new identifier
            that the profile knows is no fault.
period      means of the intervals that are no gaps differ by more than 4 standard errors (of both together) and by more
            than 2 % and 0.5 ms; at least 5 intervals on either side
jitter      standard deviations of these intervals differ by more than 4 standard errors (deviation / root of 2n) and by
            more than 5 % of the period and 1 ms; at least 20 intervals on either side
gaps        intervals of 3.5 periods and 0.25 s or more, as presence has it, to within a sixteenth (they are counted in bins);
            silences of the whole bus are no gaps
load        means of the whole seconds differ by more than 4 standard errors and by more than 0.5 points; at least 5
            seconds on either side. Above the profile's limit, where it was not before: grave
signals     where the profile's message database is given, of each signal in place of the data bytes that hold it: a value out
            of the earlier range, by more than a quarter of its width, where at least 20 frames kept to that range and it was
            all there in the first half of their time; one that was constant: by anything. One that stands still in at least
            20 frames, where by its earlier pace at least 5 changes were due. Limits of the profile that a signal keeps to in
            one recording alone: as its verdicts are (grave where it leaves them)
values      of bytes that hold no known signal: a data byte left the range that at least 20 frames kept to before, by more than a quarter of its width, where that
            range was all there in their first half (a counter or a slow value on its way has none yet); one that was
            constant: by anything; within the range, bits that never changed before do. Data that varied stand still in at
            least 20 frames
errors      none before and at least 4 now, or a rate that grew by more than 4 standard errors and by half (counts as
            Poisson's); 1 to 3 where there were none: UNSURE
rates       of what is not sent on time: bursts differ by more than 4 standard errors (as Poisson's) and by a fifth
lines       a type of sentence or a whole line gone where at least 5 were due; less than half can be understood where
            nine tenths could; rates that differ by more than 4 standard errors (as Poisson's) and by a fifth

Order: grave, then unsure, then lesser, then better; in each by kind as listed in `Kind`; then by size.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import inf
from typing import TypeVar

from benchcheck.traffic.changes.bus_changes import bus_changes
from benchcheck.traffic.changes.change import Change, Grade, Kind
from benchcheck.traffic.changes.line_changes import line_changes
from benchcheck.traffic.changes.seen import Judged, Seen
from benchcheck.words.verdict import Outcome

__all__ = ["Change", "Comparison", "Grade", "Kind", "compare"]


T = TypeVar("T")


class Worth(StrEnum):
    """Whether two recordings can be compared at all."""

    COMPARED = "compared"
    TOO_SHORT = "too short"
    NOTHING = "nothing in common"


@dataclass(frozen=True, slots=True)
class Comparison:
    """Changes in order, whether there was enough to compare, and the outcome: FAIL for something grave."""

    changes: tuple[Change, ...]
    worth: Worth

    @property
    def outcome(self) -> Outcome:
        grades = {change.grade for change in self.changes}
        if Grade.GRAVE in grades:
            return Outcome.FAIL
        return Outcome.UNSURE if Grade.UNSURE in grades or self.worth is not Worth.COMPARED else Outcome.PASS


def compare(before: Seen, after: Seen) -> Comparison:
    """What changed from `before` to `after`, by the rules above."""
    pairs = _pairs(before.buses, after.buses)
    of_signals = list(_signal_changes(before, after))
    judged = frozenset(change.what for change in of_signals)
    changes: list[Change] = []
    compared = False
    for name, (was, now) in pairs.items():
        if was is None or now is None:
            changes.append(_bus_alone(name, now is not None))
            continue
        covered = frozenset(unit for _, unit in _told_units(before, after))
        found, told = bus_changes(name, was, now, covered, before.frames_missing, after.frames_missing, judged)
        changes += found
        compared = compared or told
    changes += _unit_changes(before, after)
    changes += _talk_changes(before, after)
    changes += of_signals
    talks = frozenset(set(before.talks) & set(after.talks))
    for name, (old, new) in _pairs(before.lines, after.lines).items():
        changes += line_changes(name, old, new, before.recorded_s, after.recorded_s, name in talks)
        compared = compared or bool(old and new and old.understood)
    worth = Worth.COMPARED if compared else Worth.TOO_SHORT if _in_common(before, after) else Worth.NOTHING
    return Comparison(tuple(sorted(changes, key=Change.order)), worth)


def _pairs(before: Mapping[str, T], after: Mapping[str, T]) -> dict[str, tuple[T | None, T | None]]:
    """Buses (or lines) of the same name; where either recording has one alone, these two, whatever they are called."""
    if len(before) == len(after) == 1:
        return {next(iter(before)): (next(iter(before.values())), next(iter(after.values())))}
    return {name: (before.get(name), after.get(name)) for name in dict.fromkeys((*before, *after))}


def _in_common(before: Seen, after: Seen) -> bool:
    buses = any(was and now and was.frames and now.frames for was, now in _pairs(before.buses, after.buses).values())
    lines = _pairs(before.lines, after.lines).values()
    return buses or any(was and now and (was.bytes or now.bytes) for was, now in lines)


def _bus_alone(name: str, is_new: bool) -> Change:
    which = "first" if is_new else "second"
    return Change(Kind.BUS, Grade.UNSURE, name, name, f"bus {name} is not in the {which} recording: can't be compared")


def _told_units(before: Seen, after: Seen) -> set[tuple[str, str]]:
    """The units that are missing in one of the recordings alone: their identifiers need no words of their own."""
    return {
        key
        for key, now in after.units.items()
        if key in before.units and (now.state == "missing") != (before.units[key].state == "missing")
    }


def _unit_changes(before: Seen, after: Seen) -> Iterator[Change]:
    for key, now in after.units.items():
        was = before.units.get(key)
        if was is not None and (change := _judged(Kind.UNIT, key[1], key[0], was, now)) is not None:
            yield change


def _talk_changes(before: Seen, after: Seen) -> Iterator[Change]:
    for name, now in after.talks.items():
        was = before.talks.get(name)
        if was is not None and (change := _judged(Kind.TALK, name, name, was, now)) is not None:
            yield change


def _signal_changes(before: Seen, after: Seen) -> Iterator[Change]:
    """Of signals with limits in the profile; one that was not heard in either recording has no news of its own."""
    for key, now in after.signals.items():
        was = before.signals.get(key)
        if was is None or "not_heard" in (was.state, now.state):
            continue
        if (change := _judged(Kind.SIGNAL, key[1], key[0], was, now)) is not None:
            yield change


def _judged(kind: Kind, what: str, where: str, was: Judged, now: Judged) -> Change | None:
    """What became of a unit or a talk, from its verdict then and now."""
    if (was.verdict, was.state) == (now.verdict, now.state):
        return None
    grade = _grade(was.verdict, now.verdict)
    text = f"{what} was {was.state or 'not to be judged'}, now {now.state or 'not to be judged'}: {now.text}"
    return Change(kind, grade, what, where, text, inf, was.state, now.state)


def _grade(was: Outcome, now: Outcome) -> Grade:
    if was is Outcome.PASS and now is Outcome.FAIL:
        return Grade.GRAVE
    if now is Outcome.PASS:
        return Grade.BETTER
    if Outcome.UNSURE in (was, now):
        return Grade.UNSURE
    return Grade.LESSER
