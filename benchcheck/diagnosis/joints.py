"""Conductors that are joined where nothing should join them: strands, pinched wires, films."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.checks.kind import Context
from benchcheck.diagnosis.hypothesis import OPEN_OHM, SHORT_OHM, Hypothesis
from benchcheck.harness.circuit import Edge
from benchcheck.harness.connector.geometry import neighbours_of
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import join
from benchcheck.words.reading import ReadingState
from benchcheck.words.result import Result
from benchcheck.words.squawk import SquawkKind

# Above this a joint between two conductors is no strand across them (common practice, no source).
SOFT_SHORT_OHM = 3.0
# How common a fault is against the usual one of its kind (common practice, no source; `priors` has the rest): conductors that lie
# nowhere beside each other hardly touch, and a joint of kilohms is rarer than a dead short.
APART = 0.1
SOFT = 0.1
# Pairs of contacts on the same two nets that are weighed one by one.
MOST_PLACES = 12
# Nets behind parts that are weighed with the one at a lead.
MOST_BEYOND = 8


def short(context: Context, result: Result) -> Iterator[Hypothesis]:
    """Something lies across two conductors: first a dead short, then a film or strand of the ohms that were read."""
    reading = result.reading
    if reading.state is ReadingState.VALUE and reading.value < OPEN_OHM:
        yield from _joined(context, result, SHORT_OHM, "", 1.0)
        if reading.value > SOFT_SHORT_OHM:
            yield from _joined(context, result, reading.value, f" through about {reading.text}", SOFT)


def _joined(context: Context, result: Result, ohm: float, through: str, rarity: float) -> Iterator[Hypothesis]:
    red, black = result.step.red, result.step.black
    circuit = context.circuit(result.step.state if result.step.state.links or result.step.state.plugs else ALL_OPEN)
    one, other = circuit.component(red), circuit.component(black)
    places = [pair for pair in _touching(context) if _across(pair, one, other)]
    nets = context.nets
    # Wire has ohms, so where along two nets they are joined shows a little; of many places one stands for all of them.
    classes: dict[frozenset[int | None], list[tuple[str, str]]] = {}
    for pair in places:
        classes.setdefault(frozenset(nets.net_of(contact) for contact in pair), []).append(pair)
    for members in classes.values():
        for alike in [members] if len(members) > MOST_PLACES else [[pair] for pair in members]:
            where = tuple(dict.fromkeys(contact for pair in alike for contact in pair))
            at = ", or ".join(f"{a} and {b}" for a, b in alike)
            edge = Edge(f"short {alike[0]}", *alike[0], ohm)
            text = f"joined where nothing should join them{through}: {at}"
            yield Hypothesis(SquawkKind.SHORT, where, text, add=(edge,), rarity=rarity * len(alike))
    # what hangs on a lead through parts may be what is joined: a terminator lies between the two wires of a bus
    beyond = [(end, black) for end in _through_parts(context, one, red)]
    beyond += [(red, end) for end in _through_parts(context, other, black)]
    for a, b in [(red, black), *(beyond if not through else ())]:
        if (a, b) not in places and (b, a) not in places:
            edge = Edge(f"short {a} {b}", a, b, ohm)
            text = f"{a} and {b} are joined{through}"
            yield Hypothesis(SquawkKind.SHORT, (a, b), text, add=(edge,), rarity=rarity * APART)


def _through_parts(context: Context, piece: frozenset[str], lead: str) -> list[str]:
    """A contact of each further net of a piece, which parts join to the one at a lead; none where there are many."""
    nets = context.nets
    found = {net for contact in piece if (net := nets.net_of(contact)) is not None} - {nets.net_of(lead)}
    return [nets.members(net)[0] for net in sorted(found)] if len(found) <= MOST_BEYOND else []


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
