"""The dead stage: the likeliest faults behind the failed readings, and the probes that settle them.

Readings that one story could stand behind are a case (`stories`). Where no class of stories stands out, the probe that tells
most for its effort is asked for (`next_probe`), and what it reads weighs like every other reading. A story of
conductors that sit in other contacts is believed once one of them was seen there.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass

from benchcheck.checks.kind import Context
from benchcheck.diagnosis.classes import one_class, same_class
from benchcheck.diagnosis.hypothesis import OPEN_OHM, Hypothesis
from benchcheck.diagnosis.narrowing import is_bundle, is_follow_up, narrow
from benchcheck.diagnosis.next_probe import MOST_PROBES, Probe, next_probe, probed, seats_of
from benchcheck.diagnosis.readings import Readings
from benchcheck.diagnosis.stories import MOST_ODD, Case, Story, cases
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.result import Result
from benchcheck.words.squawk import Squawk, SquawkKind
from benchcheck.words.step import Quantity, Stage
from benchcheck.words.verdict import Outcome

CONFIRMED_BY_PROBE = frozenset(
    {
        SquawkKind.SWAPPED_CONTACTS,
        SquawkKind.CROSSED_TX_RX,
        SquawkKind.MIRRORED_NUMBERING,
        SquawkKind.ROWS_EXCHANGED,
        SquawkKind.OFF_BY_ONE,
        SquawkKind.WRONG_CONTACT,
    }
)
# Of so many of its conductors each is looked for.
SEEN = 2

Diagnosing = Generator[Request, Reading, list[Squawk]]


@dataclass(frozen=True, slots=True)
class Settled:
    """A case, and how many probes it took. `refused` are probes that gave no reading."""

    case: Case
    probes: int = 0


def diagnose_dead(context: Context, results: Sequence[Result], probes: Sequence[Result] = ()) -> Diagnosing:
    """Explain the failed steps among `results`. Yields probes, is sent readings, returns squawks.

    probes  those that were taken since these results: they are not asked for again
    """
    readings = Readings(context, results)
    for probe in probes:
        if probe.step.quantity is Quantity.OHMS:
            readings.take(probe)
    settled = yield from settle(readings)
    squawks: list[Squawk] = []
    unexplained: list[Squawk] = []
    told: set[str] = set()
    for entry in settled:
        squawks += case_squawks(readings, entry.case)
        told |= {name for fault in entry.case.best.faults for name in fault.where}
        left = [readings.results[number] for number in sorted(entry.case.best.left)]
        unexplained += [plain(result) for result in left if not is_follow_up(result)]
    return squawks + unexplained + out_of_band(results, told)


def settle(readings: Readings) -> Generator[Request, Reading, list[Settled]]:
    """Probe until one class of stories stands out in each case, or nothing more can be told. Adds to `readings`."""
    waiting = [Settled(case) for case in cases(readings)]
    if len(readings.odd()) > MOST_ODD:
        return waiting  # a lead that is off, a wrong profile: not a matter of hundreds of probes
    done: list[Settled] = []
    narrowed: set[str] = set()
    while waiting:
        now = waiting.pop(0)
        wide = _wide(readings, now.case, narrowed)
        count = len(readings.results)
        if wide is not None:
            # it was read against many at once: which of them it is, is probed before anything is believed
            narrowed.add(wide.step.id)
            narrow_results = yield from narrow(readings.context, wide, _across(readings, now.case, wide))
            readings.add(narrow_results)
            spent = now.probes + len(narrow_results)
        else:
            probe = _wanted(readings, now)
            if probe is None:
                done.append(now)
                continue
            readings.take(probed(probe, (yield probe.request)))
            spent = now.probes + 1
        odd = set(readings.odd())
        among = {*now.case.odd, *(n for n in range(count, len(readings.results)) if n in odd or readings.is_probe(n))}
        waiting = [*(Settled(case, spent) for case in cases(readings, among)), *waiting]
    return done


def _wanted(readings: Readings, now: Settled) -> Probe | None:
    left = MOST_PROBES - now.probes
    last = readings.last_probe
    probe = next_probe(readings, now.case, left, last=last)
    if probe is None and left > 0:
        probe = next(_to_be_seen(readings, now.case.best), None)
    return probe


def _to_be_seen(readings: Readings, story: Story) -> Iterator[Probe]:
    """Where conductors must be found if the story is true, and would not be without it, as far as they were seen nowhere yet."""
    for fault in story.faults:
        if fault.kind not in CONFIRMED_BY_PROBE:
            continue
        seen = 0
        for far, probes in seats_of(readings, story, fault).items():
            ways = [probe for probe in probes if _shows(readings, story, fault, probe)]
            if _was_seen(readings, story, fault, far) or any(readings.was_taken(*way.ends, way.state) for way in ways):
                seen += 1
            elif ways and seen < SEEN:
                seen += 1
                yield ways[0]


def _was_seen(readings: Readings, story: Story, fault: Hypothesis, far: str) -> bool:
    """Whether a reading shows the conductor that ends at `far` where only this fault puts it."""
    for number in readings.reach([fault]):
        result = readings.results[number]
        probe = Probe(result.step.red, result.step.black, result.step.state)
        is_read = result.reading.state is ReadingState.VALUE and result.reading.value < OPEN_OHM
        if is_read and far in probe.ends and _shows(readings, story, fault, probe):
            return True
    return False


def _shows(readings: Readings, story: Story, fault: Hypothesis, probe: Probe) -> bool:
    others = [other for other in story.faults if other is not fault]
    with_it = readings.predicted(story.faults, probe.state, probe.red, probe.black)
    return with_it < OPEN_OHM and readings.predicted(others, probe.state, probe.red, probe.black) > 5.0 + 2 * with_it


def _across(readings: Readings, case: Case, result: Result) -> list[str]:
    """What may be joined to the red contact of a reading, likeliest first."""
    piece = readings.piece_of(result.step.red)
    found: list[str] = []
    for story in case.stories:
        for fault in story.faults:
            for edge in fault.add:
                found += [end for end, other in ((edge.a, edge.b), (edge.b, edge.a)) if other in piece]
    return list(dict.fromkeys(found))


def _wide(readings: Readings, case: Case, narrowed: set[str]) -> Result | None:
    """A reading against many at once behind a short of the best story."""
    if not any(fault.kind is SquawkKind.SHORT for fault in case.best.faults):
        return None
    for number in case.odd:
        result = readings.results[number]
        if is_bundle(result) and not is_follow_up(result) and result.step.id not in narrowed:
            shorts = [f for f in case.best.faults if f.kind is SquawkKind.SHORT]
            if any(readings.piece_of(result.step.red) in readings.pieces(fault) for fault in shorts):
                return result
    return None


def out_of_band(results: Sequence[Result], told: set[str]) -> list[Squawk]:
    """Squawks for runs whose resistance failed its band, where no fault that was found names the run."""
    found = []
    for result in results:
        step, reading = result.step, result.reading
        if not result.step.settings.get("four_wire") or result.outcome is not Outcome.FAIL or told & set(step.subject):
            continue
        above = step.band is not None and step.band.high is not None and reading.value > step.band.high
        if reading.state is ReadingState.VALUE and above:
            text = f"{step.subject[0]} from {step.subject[1]} to {step.subject[2]} reads {reading.text}: a poor joint or crimp"
            kind = SquawkKind.HIGH_RESISTANCE
            found.append(Squawk(kind, step.subject[:1], step.stage.value, text, (step.id,), (reading_of(result),)))
        else:
            found.append(plain(result))
    return found


def probe_of(red: str, black: str, reading: Reading) -> dict[str, object]:
    """A follow-up as it stands behind a squawk."""
    value = None if math.isnan(reading.value) else reading.value
    name = f"follow_up:{red}:{black}"
    ends = {"step": name, "red": red, "black": black}
    return ends | {"text": reading.text, "value": value, "unit": reading.unit, "low": None, "high": None}


def case_squawks(readings: Readings, case: Case) -> list[Squawk]:
    """The best story of a case as squawks, one for each of its faults, with the readings behind each."""
    story = case.best
    found = []
    for fault in story.faults:
        others = [other for other in story.faults if other is not fault]
        behind, beside = [], []
        for number in sorted(set(readings.reach([fault]))):
            result = readings.results[number]
            better = readings.likely(story.faults, number) - readings.likely(others, number)
            if number in case.odd and not is_follow_up(result):
                if better > 1.0:
                    behind.append(result)
            elif is_follow_up(result) and (number in case.odd or abs(better) > 1.0 or _parted(readings, case, number)):
                beside.append(result)
        if not behind:
            pieces = readings.pieces(fault)
            numbers = [n for n in case.odd if readings.piece_of(readings.results[n].step.red) in pieces]
            behind = [readings.results[n] for n in numbers if not is_follow_up(readings.results[n])]
        shown = one_class(same_class(readings, case, fault))
        found.append(
            Squawk(
                shown.kind,
                shown.where,
                Stage.DEAD.value,
                shown.text,
                tuple(r.step.id for r in behind),
                tuple(reading_of(r) for r in (*behind, *beside)),
            )
        )
    return found


def _parted(readings: Readings, case: Case, number: int) -> bool:
    """Whether a probe weighed between the stories of a case."""
    weights = [readings.likely(story.faults, number) for story in case.stories[:20]]
    return max(weights) - min(weights) > 1.0


def plain(result: Result) -> Squawk:
    """A squawk for a failed step that nothing known explains."""
    step = result.step
    text = f"{step.question} No: {result.reading.text}; none of the faults known to this tool fits"
    return Squawk(SquawkKind.UNEXPLAINED, step.subject, step.stage.value, text, (step.id,), (reading_of(result),))


def reading_of(result: Result) -> dict[str, object]:
    """A reading behind a squawk, with where it was taken and what it should have been."""
    step, band = result.step, result.step.band
    return {
        "step": step.id,
        "red": step.red,
        "black": step.black,
        "text": result.reading.text,
        "value": None if math.isnan(result.reading.value) else result.reading.value,
        "unit": result.reading.unit,
        "low": band.low if band else None,
        "high": band.high if band else None,
    }
