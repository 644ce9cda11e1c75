"""Which faults could stand behind a failed step of the dead stage."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from benchcheck.checks.continuity import named_by
from benchcheck.checks.kind import Context
from benchcheck.diagnosis.hypothesis import OPEN_OHM, SHORT_OHM, Hypothesis
from benchcheck.diagnosis.joints import SOFT_SHORT_OHM, short
from benchcheck.diagnosis.seats import landed_beside, landed_vacant, reseated, swap, wrong_contact
from benchcheck.harness.buses import pairs, terminators
from benchcheck.harness.circuit import Edge
from benchcheck.harness.model import Part, PartKind, Role, Run
from benchcheck.words.contact import contact_key, pin_of, ref_of
from benchcheck.words.reading import ReadingState, format_quantity
from benchcheck.words.result import Result
from benchcheck.words.squawk import SquawkKind

# Where more runs than this are open at once, it is no more asked of each whether it landed on what failed to be apart.
MOST_OPEN = 30
# How common a terminator of a value of its own is, against one that has the value of another part (common practice, no source).
ODD_VALUE = 0.5
# A terminator of more ohms is no other terminator, but none.
MOST_TERMINATOR_OHM = 1000.0


def candidates(context: Context, failed: Sequence[Result]) -> Iterator[Hypothesis]:
    """Hypotheses for these failed steps, likelier ones first within each step; the same one only once."""
    seen: set[tuple[str, tuple[str, ...], str]] = set()
    for hypothesis in _candidates(context, failed):
        if hypothesis.key not in seen:
            seen.add(hypothesis.key)
            yield hypothesis


def _candidates(context: Context, failed: Sequence[Result]) -> Iterator[Hypothesis]:
    harness = context.harness
    failed_runs = [run for r in failed if r.step.check == "continuity" and (run := harness.run(r.step.subject[0]))]
    for result in failed:
        match result.step.check:
            case "continuity":
                run = harness.run(result.step.subject[0])
                if run is not None:
                    yield from _of_run(context, run, result, failed_runs)
            case "part_value":
                yield from _of_part(context, result)
            case "termination":
                yield from _of_termination(context, result)
                yield from short(context, result)
            case "isolation" | "follow_up:isolation" | "supply_to_ground" | "can_to_rail":
                yield from short(context, result)
                yield from landed_beside(context, result, failed_runs[:MOST_OPEN])
            case "follow_up":
                yield from _of_probe(context, result)
    yield from reseated(context, failed_runs)


def _of_probe(context: Context, result: Result) -> Iterator[Hypothesis]:
    """What else may stand behind a probe that shows a conductor elsewhere, or does not: it is open, or poorly joined."""
    ends = {result.step.red, result.step.black}
    if context.circuit(result.step.state).ohms(result.step.red, result.step.black) > OPEN_OHM:
        yield from short(context, result)
    for run in context.harness.wired_runs:
        if run.b and ends & set(run.ends):
            yield open_run(run)
            if result.reading.state is ReadingState.VALUE and SOFT_SHORT_OHM < result.reading.value < OPEN_OHM:
                yield poor_joint(run, result.reading.value, f"reads {result.reading.text}")


def _of_run(context: Context, run: Run, result: Result, failed_runs: Sequence[Run]) -> Iterator[Hypothesis]:
    step, reading = result.step, result.reading
    seat = named_by(step, reading)
    if seat and seat != step.settings["far"]:
        yield wrong_contact(context, run, str(step.settings["far"]), seat)
    partner = _bus_partner(run, failed_runs)
    if partner is not None:
        both = tuple(sorted((run.wire, partner.wire)))
        text = f"the bus is cut between {ref_of(run.a)} and {ref_of(run.b)}: both {both[0]} and {both[1]} are open"
        yield Hypothesis(SquawkKind.BUS_CUT, both, text, remove=frozenset(both))
    if reading.state is ReadingState.VALUE and reading.value < OPEN_OHM:
        ohm, reads = reading.value, f"reads {reading.text}"
        if step.state.coded:
            ohm -= context.circuit(step.state).ohms(step.red, step.black)
            reads = f"has {format_quantity(ohm, 'ohm')} too much behind it"
        yield poor_joint(run, ohm, reads)
    yield open_run(run)
    if reading.state is ReadingState.OVER or reading.value > OPEN_OHM:
        yield from landed_vacant(context, run)
    for end in run.ends:
        others = {e for other in failed_runs if other is not run for e in other.ends if ref_of(e) == ref_of(end)}
        for other in sorted(others - {end}, key=contact_key):
            if pin_of(end) and pin_of(other):
                yield swap(context, end, other)


def poor_joint(run: Run, ohm: float, reads: str) -> Hypothesis:
    """A run of more ohms than its wire."""
    edge = Edge(run.wire, run.a, run.b, max(ohm, 0.001))
    text = f"{run.wire} from {run.a} to {run.b} {reads}: a poor joint or crimp"
    return Hypothesis(SquawkKind.HIGH_RESISTANCE, (run.wire,), text, remove=frozenset({run.wire}), add=(edge,))


def open_run(run: Run) -> Hypothesis:
    """A run, bridge or drain that is not there."""
    match run.role:
        case Role.BRIDGE:
            kind, text = SquawkKind.MISSING_BRIDGE, f"bridge {run.wire} between {run.a} and {run.b} is missing or open"
        case Role.SHIELD:
            kind, text = SquawkKind.MISSING_DRAIN, f"drain {run.wire} from {run.a} to {run.b} is missing or open"
        case _:
            kind, text = (
                SquawkKind.OPEN_RUN,
                f"{run.wire} is open between {run.a} and {run.b}, at either end or between",
            )
    return Hypothesis(kind, (run.wire,), text, remove=frozenset({run.wire}))


def _bus_partner(run: Run, failed_runs: Iterable[Run]) -> Run | None:
    other = {Role.CAN_H: Role.CAN_L, Role.CAN_L: Role.CAN_H}.get(run.role)
    ends = {ref_of(run.a), ref_of(run.b)}
    for candidate in failed_runs:
        if (
            candidate.role is other
            and {ref_of(candidate.a), ref_of(candidate.b)} == ends
            and run.cable == candidate.cable
        ):
            return candidate
    return None


def _of_part(context: Context, result: Result) -> Iterator[Hypothesis]:
    part = next(p for p in context.harness.parts if p.ref == result.step.subject[0])
    if part.ref in result.step.state.opened:
        if result.reading.state is ReadingState.VALUE:
            edge = Edge(f"beside {part.ref}", part.a, part.b, max(result.reading.value, SHORT_OHM))
            text = (
                f"{part.a} and {part.b} are joined beside {part.kind.value} {part.ref}: it protects or switches nothing"
            )
            yield Hypothesis(SquawkKind.SHORT, (part.a, part.b), text, add=(edge,))
        return
    if part.kind in (PartKind.PROTECTOR, PartKind.SWITCH):
        yield open_part(part)
    elif result.reading.state is ReadingState.VALUE:
        edge = Edge(part.ref, part.a, part.b, max(result.reading.value, 0.001))
        text = f"{part.ref} reads {result.reading.text}, planned {part.ohm:g} ohm"
        yield Hypothesis(SquawkKind.WRONG_PART, (part.ref,), text, remove=frozenset({part.ref}), add=(edge,))
    else:
        text = f"{part.ref} ({part.ohm:g} ohm) is missing or open between {part.a} and {part.b}"
        yield Hypothesis(SquawkKind.WRONG_PART, (part.ref,), text, remove=frozenset({part.ref}))


def open_part(part: Part) -> Hypothesis:
    """A protector or switch that is open, or pulled."""
    text = f"{part.kind.value} {part.ref} is open between {part.a} and {part.b}"
    return Hypothesis(SquawkKind.PROTECTOR_OPEN, (part.ref,), text, remove=frozenset({part.ref}))


def _of_termination(context: Context, result: Result) -> Iterator[Hypothesis]:
    bus = next(b for b in context.harness.buses if b.name == result.step.subject[0])
    for part in terminators(context.harness, bus):
        text = f"terminator {part.ref} of {bus.name} at {ref_of(part.a)} is missing or open"
        yield Hypothesis(SquawkKind.MISSING_TERMINATOR, (part.ref,), text, remove=frozenset({part.ref}))
        yield from _wrong_value(context, part, result)
    for place in pairs(context.harness, bus):
        edge = Edge(f"extra at {place.connector}", place.high, place.low, 120.0)
        text = f"{bus.name} has a terminator too many, nearest to {place.connector} by the readings"
        yield Hypothesis(SquawkKind.EXTRA_TERMINATOR, (bus.name,), text, add=(edge,))


def _wrong_value(context: Context, part: Part, result: Result) -> Iterator[Hypothesis]:
    """A terminator of the value that a reading asks for, all else on the bus as planned."""
    step, reading = result.step, result.reading
    if reading.state is not ReadingState.VALUE or not 0 < reading.value < OPEN_OHM:
        return
    rest_ohm = context.circuit(step.state).ohms_without(part.ref, step.red, step.black)
    siemens = 1 / reading.value - 1 / rest_ohm
    if siemens > 1 / MOST_TERMINATOR_OHM and abs(1 / siemens / part.ohm - 1) > part.tolerance_percent / 100:
        text = f"terminator {part.ref} at {ref_of(part.a)} has about {1 / siemens:.3g} ohm, planned {part.ohm:g} ohm"
        edge = Edge(part.ref, part.a, part.b, 1 / siemens)
        yield Hypothesis(
            SquawkKind.WRONG_PART, (part.ref,), text, remove=frozenset({part.ref}), add=(edge,), rarity=ODD_VALUE
        )
