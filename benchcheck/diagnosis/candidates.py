"""Which faults could stand behind a failed step of the dead stage."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from benchcheck.checks.continuity import named_by
from benchcheck.checks.kind import Context
from benchcheck.diagnosis.hypothesis import OPEN_OHM, SHORT_OHM, Hypothesis
from benchcheck.harness.buses import pairs, terminators
from benchcheck.harness.circuit import Edge
from benchcheck.harness.connector.geometry import neighbours_of
from benchcheck.harness.model import Connector, PartKind, Role, Run
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import contact_key, join, pin_of, ref_of
from benchcheck.words.reading import ReadingState, format_quantity
from benchcheck.words.result import Result
from benchcheck.words.squawk import SquawkKind

# Above this a joint between two conductors is no strand across them (common practice, no source).
SOFT_SHORT_OHM = 3.0


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
                yield from _short(context, result)
            case "isolation" | "follow_up:isolation" | "supply_to_ground" | "can_to_rail":
                yield from _short(context, result)
                yield from _landed_beside(context, result, failed_runs)
    yield from _mirrored(context, failed_runs)


def _of_run(context: Context, run: Run, result: Result, failed_runs: Sequence[Run]) -> Iterator[Hypothesis]:
    step, reading = result.step, result.reading
    seat = named_by(step, reading)
    if seat and seat != step.settings["far"]:
        yield wrong_contact(run, str(step.settings["far"]), seat)
    partner = _bus_partner(run, failed_runs)
    if partner is not None:
        both = tuple(sorted((run.wire, partner.wire)))
        text = f"the bus is cut between {ref_of(run.a)} and {ref_of(run.b)}: both {both[0]} and {both[1]} are open"
        yield Hypothesis(SquawkKind.BUS_CUT, both, text, remove=frozenset(both), faults=1.2)
    if reading.state is ReadingState.VALUE and reading.value < OPEN_OHM:
        ohm, reads = reading.value, f"reads {reading.text}"
        if step.state.coded:
            ohm -= context.circuit(step.state).ohms(step.red, step.black)
            reads = f"has {format_quantity(ohm, 'ohm')} too much behind it"
        edge = Edge(run.wire, run.a, run.b, max(ohm, 0.001))
        text = f"{run.wire} from {run.a} to {run.b} {reads}: a poor joint or crimp"
        yield Hypothesis(
            SquawkKind.HIGH_RESISTANCE, (run.wire,), text, remove=frozenset({run.wire}), add=(edge,), faults=1.1
        )
    yield open_run(run)
    for end in run.ends:
        others = {e for other in failed_runs if other is not run for e in other.ends if ref_of(e) == ref_of(end)}
        for other in sorted(others - {end}, key=contact_key):
            if pin_of(end) and pin_of(other):
                yield swap(context, end, other)


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


def swap(context: Context, a: str, b: str) -> Hypothesis:
    """The conductors of two contacts of one connector exchanged."""
    first, second = sorted((a, b), key=contact_key)
    crossed = is_tx_and_rx(context, first, second)
    kind = SquawkKind.CROSSED_TX_RX if crossed else SquawkKind.SWAPPED_CONTACTS
    what = "transmit and receive are crossed" if crossed else "the conductors are swapped"
    text = f"{what}: {first} and {second}"
    return Hypothesis(
        kind, (first, second), text, where_to={a: b, b: a}, movers=ending_at(context, (a, b)), faults=1.15
    )


def ending_at(context: Context, contacts: Iterable[str]) -> frozenset[str]:
    """The conductors of the pin table that end at any of these contacts."""
    wanted = set(contacts)
    return frozenset(run.wire for run in context.harness.runs if wanted & set(run.ends))


def is_tx_and_rx(context: Context, a: str, b: str) -> bool:
    """Whether two contacts are the transmit and the receive contact of one RS-232 link."""
    for link in context.harness.links:
        sent, received = {talk.tx for talk in link.talks}, {talk.rx for talk in link.talks}
        if (a in sent and b in received) or (b in sent and a in received):
            return True
    # a link of which only one direction is declared: the unit itself says what its contacts are
    entries = [context.harness.unit_contact(contact) for contact in (a, b)]
    roles = {entry.role for entry in entries if entry is not None}
    links = {link.name for link in context.harness.links for t in link.talks if {a, b} & {t.tx, t.rx}}
    return roles == {Role.RS232_TX, Role.RS232_RX} and len(links) == 1


def wrong_contact(run: Run, end: str, to: str) -> Hypothesis:
    """A run whose one end sits in another contact."""
    text = f"{run.wire} sits in {to} instead of {end}"
    return Hypothesis(
        SquawkKind.WRONG_CONTACT, (run.wire,), text, where_to={end: to}, movers=frozenset({run.wire}), faults=1.1
    )


def vacant(context: Context, ref: str) -> tuple[str, ...]:
    """Contacts of a connector that no conductor of the pin table uses."""
    connector = context.harness.connectors.get(ref)
    if connector is None or connector.family in ("stud", "splice"):
        return ()
    contacts = (join(ref, pin) for pin in connector.contacts)
    return tuple(contact for contact in contacts if context.nets.net_of(contact) is None)


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
        text = f"{part.kind.value} {part.ref} is open between {part.a} and {part.b}"
        yield Hypothesis(SquawkKind.PROTECTOR_OPEN, (part.ref,), text, remove=frozenset({part.ref}))
    elif result.reading.state is ReadingState.VALUE:
        edge = Edge(part.ref, part.a, part.b, max(result.reading.value, 0.001))
        text = f"{part.ref} reads {result.reading.text}, planned {part.ohm:g} ohm"
        yield Hypothesis(SquawkKind.WRONG_PART, (part.ref,), text, remove=frozenset({part.ref}), add=(edge,))
    else:
        text = f"{part.ref} ({part.ohm:g} ohm) is missing or open between {part.a} and {part.b}"
        yield Hypothesis(SquawkKind.WRONG_PART, (part.ref,), text, remove=frozenset({part.ref}))


def _of_termination(context: Context, result: Result) -> Iterator[Hypothesis]:
    bus = next(b for b in context.harness.buses if b.name == result.step.subject[0])
    for part in terminators(context.harness, bus):
        text = f"terminator {part.ref} of {bus.name} at {ref_of(part.a)} is missing or open"
        yield Hypothesis(SquawkKind.MISSING_TERMINATOR, (part.ref,), text, remove=frozenset({part.ref}))
    for place in pairs(context.harness, bus):
        edge = Edge(f"extra at {place.connector}", place.high, place.low, 120.0)
        text = f"{bus.name} has a terminator too many, nearest to {place.connector} by the readings"
        # a resistor of just this value is a likelier story than a film that happens to have it
        yield Hypothesis(SquawkKind.EXTRA_TERMINATOR, (bus.name,), text, add=(edge,), faults=0.95)


def _short(context: Context, result: Result) -> Iterator[Hypothesis]:
    """Something lies across two conductors: first a dead short, then a film or strand of the ohms that were read."""
    reading = result.reading
    if reading.state is ReadingState.VALUE and reading.value < OPEN_OHM:
        yield from _joined(context, result, SHORT_OHM, "", 1.0)
        if reading.value > SOFT_SHORT_OHM:
            yield from _joined(context, result, reading.value, f" through about {reading.text}", 1.4)


def _joined(context: Context, result: Result, ohm: float, through: str, faults: float) -> Iterator[Hypothesis]:
    red, black = result.step.red, result.step.black
    circuit = context.circuit(result.step.state if result.step.state.links or result.step.state.plugs else ALL_OPEN)
    one, other = circuit.component(red), circuit.component(black)
    places = [pair for pair in _touching(context) if _across(pair, one, other)]
    nets = context.nets
    # Places on the same two nets can't be told apart by a meter: they are one class with one name.
    classes: dict[frozenset[int | None], list[tuple[str, str]]] = {}
    for pair in places:
        classes.setdefault(frozenset(nets.net_of(contact) for contact in pair), []).append(pair)
    for members in classes.values():
        where = tuple(dict.fromkeys(contact for pair in members for contact in pair))
        at = ", or ".join(f"{a} and {b}" for a, b in members)
        edge = Edge(f"short {members[0]}", *members[0], ohm)
        text = f"joined where nothing should join them{through}: {at}"
        yield Hypothesis(SquawkKind.SHORT, where, text, add=(edge,), faults=faults)
    if (red, black) not in places and (black, red) not in places:
        edge = Edge(f"short {red} {black}", red, black, ohm)
        elsewhere = 1.3 if places else 1.0
        text = f"{red} and {black} are joined{through}"
        yield Hypothesis(SquawkKind.SHORT, (red, black), text, add=(edge,), faults=faults * elsewhere)


def _across(pair: tuple[str, str], one: frozenset[str], other: frozenset[str]) -> bool:
    a, b = pair
    return a != b and ((a in one and b in other) or (a in other and b in one))


def _touching(context: Context) -> Iterator[tuple[str, str]]:
    """Pairs of populated contacts that lie beside each other in a connector, or shell and ring beside any of its contacts."""
    for connector in context.harness.connectors.values():
        for a, b in sorted(neighbours_of(connector)):
            pair = join(connector.ref, a), join(connector.ref, b)
            if all(context.nets.net_of(contact) is not None for contact in pair):
                yield pair


def _landed_beside(context: Context, result: Result, failed_runs: Sequence[Run]) -> Iterator[Hypothesis]:
    """A run that is open and whose end joins another net: it sits in that net's contact."""
    circuit = context.circuit(ALL_OPEN)
    other = circuit.component(result.step.red) | circuit.component(result.step.black)
    for run in failed_runs:
        for end in run.ends:
            connector = context.harness.connectors.get(ref_of(end))
            if connector is not None and pin_of(end):
                for pin in connector.contacts:
                    to = join(connector.ref, pin)
                    if to != end and to in other:
                        yield wrong_contact(run, end, to)


def _mirrored(context: Context, failed_runs: Sequence[Run]) -> Iterator[Hypothesis]:
    counts: dict[str, int] = {}
    for run in failed_runs:
        for ref in {ref_of(end) for end in run.ends}:
            counts[ref] = counts.get(ref, 0) + 1
    for ref, count in counts.items():
        connector = context.harness.connectors.get(ref)
        if count >= 3 and connector is not None:
            yield mirrored(context, connector)


def mirrored(context: Context, connector: Connector) -> Hypothesis:
    """A connector wired from the wrong face: each conductor sits at the other end of its row."""
    where_to = {
        join(connector.ref, pin): join(connector.ref, opposite)
        for row in connector.rows
        for pin, opposite in zip(row, reversed(row), strict=True)
        if pin != opposite
    }
    text = f"{connector.ref} is wired from the wrong face: the numbering of each row is reversed"
    return Hypothesis(
        SquawkKind.MIRRORED_NUMBERING,
        (connector.ref,),
        text,
        where_to=where_to,
        movers=ending_at(context, where_to),
        faults=1.3,
    )
