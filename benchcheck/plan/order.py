"""The order of a plan: what must come before what, and within that the fewest and shortest ways.

What binds, strongest first:

1. The stages, one after the other.
2. The bench states: fewer units in before more, with power before what is read dead among the same units; on a dead
   bench first all open, then parts pulled and ends lifted, then what clips and plugs join, each in its turn, then coded
   plugs. States that differ in none of these may come in any order; each is made once.
3. The rank of the check kinds, but only where power is on or units are in: volts at the feeds are read before anything
   is drawn from them, and a unit's current before its levels. On a dead bench with all units out nothing that a meter
   does can harm, and no reading needs another to be safe. There the ranks do not bind, and kinds are mixed: a run is
   read, and then what lies beside its end.

Steps that nothing binds to each other are a *segment*. In a segment the steps are arranged by the cost of going from one
to the next (`plan.cost`): a walk to the cheapest next pair of contacts (`plan.walk`), then local changes while they pay
and small shakes (`plan.improve`); what is too large for that has only its leftovers tidied (`plan.tidy`), so that the
time grows about as n log n. `plan.bound` says how far from the best that can be at most.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from typing import TypeVar

from benchcheck.plan.bound import classes, least_placements
from benchcheck.plan.cost import CONNECTOR_S, MOVE_S, ZONE_S, is_probed
from benchcheck.plan.field import Field, Sites
from benchcheck.plan.improve import Improve
from benchcheck.plan.leads import IN_HAND, Leads
from benchcheck.plan.tidy import tidy
from benchcheck.plan.walk import Walk
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import contact_key
from benchcheck.words.step import Quantity, Stage, Step

K = TypeVar("K", bound=Hashable)

STAGES = (Stage.DEAD, Stage.POWER, Stage.LIVE)
TURN = "turn"  # in the settings of a step: its place in a row of readings of which each joins one more thing

# Above this many pairs of contacts a segment is not improved by turns and shakes.
LARGE = 4000
# Shakes for each pair; shakes times pairs squared at most, so that a plan of any size is there at once; rows of
# shakes with another chance each.
SHAKES = 40
MOST_TRIED = 160_000_000
STARTS = 4
# Orders that are kept: a profile of another day, or with another label, has the same segments.
KEPT = 200
_kept: dict[Hashable, list[int]] = {}


class Ordering:
    """Puts steps in order.

    ranks  check kind -> its rank
    zones  connector -> where it is
    pins   connector -> its contacts in order
    """

    def __init__(
        self,
        ranks: Mapping[str, int],
        zones: Mapping[str, str],
        pins: Mapping[str, Sequence[str]],
    ) -> None:
        self._ranks, self._zones, self._pins = ranks, zones, pins

    def arranged(self, steps: Sequence[Step]) -> tuple[Step, ...]:
        """The steps in the order in which they are to be done, whatever order they come in."""
        contacts = {contact for step in steps if is_probed(step) for contact in (step.red, step.black)}
        sites = Sites(contacts, self._zones, self._pins)
        found: list[Step] = []
        leads = IN_HAND
        for segment in segments(sorted(steps, key=lambda step: step.id), self._ranks):
            for block in self._blocks(segment, sites, leads):
                found += block
                leads = _last(block, leads)
        return tuple(found)

    def _blocks(self, segment: Sequence[Step], sites: Sites, leads: Leads) -> Iterator[Sequence[Step]]:
        """The segment state by state, the steps of each in order."""
        one = segment[0].state
        states = {one: segment} if all(step.state is one for step in segment) else _by(segment, lambda step: step.state)
        if len(states) == len(segment):
            # each state has one step: the way from step to step says which comes next
            yield self._walked(segment, sites, leads)
            return
        for state in sorted(states, key=_name_order) if len(states) > 1 else states:
            ranks = _by(states[state], self._binding_rank)
            for rank in sorted(ranks):
                block = self._walked(ranks[rank], sites, leads)
                yield block
                leads = _last(block, leads)

    def _binding_rank(self, step: Step) -> int:
        return self._ranks[step.check] if _ranks_bind(step.state) else 0

    def _walked(self, steps: Sequence[Step], sites: Sites, leads: Leads) -> list[Step]:
        """Steps that nothing binds, in the cheapest order that is found; first those that need no leads."""
        found = sorted((step for step in steps if not is_probed(step)), key=lambda step: contact_key(step.id)[1])
        probed = [step for step in steps if is_probed(step)]
        if not probed:
            return found
        # read with leads that are alike, but for the few that a diode makes different
        field = Field(
            sites, alike=all(step.quantity is Quantity.OHMS and not _ranks_bind(step.state) for step in steps)
        )
        at: dict[int, list[Step]] = {}
        for step in sorted(probed, key=lambda step: sites.pair(step.red, step.black)):
            at.setdefault(field.add((step.red, step.black)), []).append(step)
        rows = len(field)
        first = field.add(leads) if all(lead in sites.number for lead in leads) else None
        for row in _arranged_once(field, first):
            if row < rows:
                found += sorted(at[row], key=lambda step: (self._ranks[step.check], step.id))
        return found


def _last(steps: Sequence[Step], leads: Leads) -> Leads:
    """The contacts that the leads are on when steps are done."""
    return next(((step.red, step.black) for step in reversed(steps) if is_probed(step)), leads)


def segments(steps: Iterable[Step], ranks: Mapping[str, int]) -> Iterator[list[Step]]:
    """The steps cut into segments, in the order in which these are to be done; within a segment as they come."""
    known: dict[tuple[int, str, object], tuple[int | bool, ...]] = {}

    def class_of(step: Step) -> tuple[int | bool, ...]:
        # most steps share the value that is their state
        key = (id(step.state), step.stage.value, step.settings.get(TURN))
        if key not in known:
            known[key] = _class_of(step)
        return known[key]

    classes = _by(steps, class_of)
    for key in sorted(classes):
        members = classes[key]
        state = members[0].state
        if _ranks_bind(state) and all(step.state == state for step in members):
            by_rank = _by(members, lambda step: ranks[step.check])
            yield from (by_rank[rank] for rank in sorted(by_rank))
        else:
            yield members


def arranged(field: Field, first: int | None) -> list[int]:
    """The rows of a field in a cheap order, from `first` on where it is given."""
    order = Walk(field).order(first)
    held = first is not None
    if len(field) > LARGE:
        return tidy(field, order, held=held)
    improve = Improve(field, order, held=held)
    improve.settle(list(reversed(order)))
    count = min(SHAKES * len(field), MOST_TRIED // len(field) ** 2)
    return improve.shaken(count, STARTS, field.seconds(order) - least_seconds(field))


def _arranged_once(field: Field, first: int | None) -> list[int]:
    """`arranged`, looked up where the same numbers were arranged before."""
    if len(field) > LARGE:
        return arranged(field, first)
    places = ([table[contact] for contact in (*field.a, *field.b)] for table in (field.connector, field.zone))
    key = (field.alike, first, LARGE, tuple(field.a), tuple(field.b), *map(tuple, places))
    found = _kept.get(key)
    if found is None:
        found = _kept[key] = arranged(field, first)
        if len(_kept) > KEPT:
            _kept.pop(next(iter(_kept)), None)
    return found


def forget() -> None:
    """Arrange everything anew from now on."""
    _kept.clear()


def least_seconds(field: Field) -> int:
    """What no order of a field can stay below, from its first pair on."""
    lines = list(zip(field.a, field.b, strict=True))
    moves = least_placements(lines) - 2
    connector, zone = field.connector, field.zone
    apart = len(field.connector) if not field.alike else 0  # red's connectors are not black's
    pairs = ((connector[a], connector[b] + apart) for a, b in lines)
    connectors = least_placements({(min(pair), max(pair)) for pair in pairs}) - 2
    return moves * MOVE_S + connectors * CONNECTOR_S + (classes(lines, zone) - 1) * ZONE_S


def _ranks_bind(state: BenchState) -> bool:
    return state.supply_on or bool(state.on_unit)


def _class_of(step: Step) -> tuple[int | bool, ...]:
    """What of a step's bench state says when it is done; states of one class may come in any order."""
    state = step.state
    return (
        STAGES.index(step.stage),
        len(state.on_unit),
        not state.supply_on,
        # what clips and plugs join comes after what is open, in its own turn; what a coded plug names comes last, when
        # its group is known to be apart from chassis
        bool(state.coded),
        bool(state.plugs or state.links),
        int(str(step.settings.get(TURN, 0))),
        len(state.lifted),
        len(state.opened),
        len(state.breakout),
    )


def _name_order(state: BenchState) -> tuple[list[str], ...]:
    names = (state.lifted, state.on_unit, state.opened, state.breakout, state.coded, state.plugs, state.links)
    return tuple(sorted(each) for each in names)


def _by(steps: Iterable[Step], key: Callable[[Step], K]) -> dict[K, list[Step]]:
    found: dict[K, list[Step]] = {}
    for step in steps:
        found.setdefault(key(step), []).append(step)
    return found
