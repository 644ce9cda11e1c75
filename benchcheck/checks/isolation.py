"""Isolation: is there nothing between contacts that nothing should join?

A meter on its ohms range looks with about half a volt. That finds a strand across two contacts; it is not
an insulation resistance test, and is never called one.

Three ways (`words.ways.Isolation`), in all of which one reading proves whole conducting groups apart and no pair of
groups is read by two kinds of check:

near  the pairs that can come into touch, and every net against every feed. The feeds and a handful of groups that are
      near to many others (shields, bus wires) are clipped to chassis, and each other group is read against all of
      them at once.
full  every two groups.
plug  a bundle of groups joined to chassis that grows until it holds them all: `harness.bundle.walk` has the proof.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind
from benchcheck.harness.bundle import clip_point, hubs, walk
from benchcheck.harness.circuit import circuit_of
from benchcheck.harness.near import NearPair, Why, bus_pairs, feed_pairs, near_pairs
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import contact_key, ref_of
from benchcheck.words.errors import InputError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict
from benchcheck.words.ways import Isolation as Way

ISOLATION_SOURCE = "profile limit isolation_ohm; coarse dc isolation over 1 Mohm is NASA practice"
# What planned parts leave between two nets may read this much less: tolerances of parts, wire and meter
# (common practice, no source).
PLANNED_PART = 0.8
# Above this many conducting groups a way is refused: nobody takes that many readings (own choice).
MOST_GROUPS = {Way.FULL: 1000, Way.PLUG: 2000}
FEEDS = "feeds"  # in the settings of a step: the feeds that are joined to the black lead
APART_FROM = "apart_from"  # in the settings of a step: contacts joined to the black lead that it is there to tell apart
TURN = "turn"  # in the settings of a step: its place in a row of readings of which each joins one more thing
CONNECTORS = "connectors"  # in the settings of a step: the connectors that its reading speaks of, beside its contacts

Pair = frozenset[int]


@check_kind
class Isolation(CheckKind):
    name = "isolation"
    stage = Stage.DEAD
    rank = 30
    title = "Isolation between neighbours, to chassis, to shield, within a cable"
    reasons = {
        "joined": "something joins them; look for a strand across two contacts, a pinched wire, a conductor in the wrong cavity",
        "joined_to_no_feed": "something joins it to what was clipped or plugged, but it is apart from each feed",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        way = context.ways.isolation
        most = MOST_GROUPS.get(way)
        if most is not None and len(context.groups) > most:
            raise InputError(
                f"isolation '{way.value}' is for at most {most} conducting groups, and there are {len(context.groups)}",
                where=context.harness.name,
                hint="Use isolation 'near', which reads only what can come into touch.",
            )
        match way:
            case Way.PLUG:
                return _gathered(context)
            case Way.FULL:
                return _apart(context, {**_near(context), **_all(context)})
            case Way.NEAR:
                return _clipped(context, _near(context))

    def measure(self, step: Step) -> Measuring:
        judged = yield from super().measure(step)
        feeds = step.settings.get(FEEDS)
        if judged.verdict.outcome is not Outcome.FAIL or not isinstance(feeds, list) or not feeds:
            return judged
        # One reading spoke of many. Whether power may be let in hangs on the feeds, so they are read by themselves.
        for feed in feeds:
            alone = yield Request(step.quantity, ALL_OPEN, step.red, feed)
            if self.judge(step, alone).outcome is not Outcome.PASS:
                return judged
        reason = "joined_to_no_feed"
        text = f"{judged.reading.text}: {self.reasons[reason]} ({', '.join(feeds)})"
        return Judged(judged.reading, Verdict(Outcome.FAIL, reason, text))


def least_band(context: Context, expected_ohm: float, floor_ohm: float = 0.0) -> Band:
    """At least the isolation limit; less where planned parts join the two, but never less than `floor_ohm`."""
    limit_ohm = context.harness.limits.isolation_ohm
    if math.isinf(expected_ohm) or PLANNED_PART * expected_ohm >= limit_ohm:
        return _limit(limit_ohm)
    planned_ohm = PLANNED_PART * expected_ohm
    text = f"computed: planned parts and wire join them with {expected_ohm:.4g} ohm; {PLANNED_PART:g} of that"
    if planned_ohm < floor_ohm:
        text += f" is below the profile limit supply_to_ground_ohm, {floor_ohm:g} ohm, which holds"
    return Band(max(planned_ohm, floor_ohm), None, "ohm", text)


@lru_cache(maxsize=16)
def _limit(limit_ohm: float) -> Band:
    """One band for the many steps that have it."""
    return Band(limit_ohm, None, "ohm", ISOLATION_SOURCE)


def isolation_step(check: str, context: Context, red: str, black: str, why: str, floor_ohm: float = 0.0) -> Step:
    """A step that wants two contacts apart: the isolation limit, or what planned parts leave between them."""
    groups = context.groups
    one, other = groups.number[red], groups.number[black]
    # what nothing planned joins needs no network to be solved
    expected = context.circuit(ALL_OPEN).ohms(red, black) if groups.joined(one, other) else math.inf
    return Step(
        id=f"{check}:{red}:{black}",
        check=check,
        stage=Stage.DEAD,
        quantity=Quantity.OHMS,
        state=ALL_OPEN,
        question=f"is {red} apart from {black} ({why})?",
        subject=(red, black),
        red=red,
        black=black,
        band=least_band(context, expected, floor_ohm),
        note=_meter_note(context.meter),
    )


@lru_cache(maxsize=16)
def _meter_note(meter: MeterSpec) -> str:
    return (
        f"read with {meter.ohm_test_volts:g} V up to {meter.ohm_max / 1e6:g} Mohm by {meter.name}; "
        "not an insulation resistance test"
    )


def _bundle_step(
    context: Context,
    red: str,
    state: BenchState,
    what: str,
    partly: frozenset[int],
    turn: int = 0,
    *,
    met: Iterable[str] | None = None,
) -> Step:
    """A step that wants a group apart from chassis and all that is joined to it in `state`; `met`: the contacts of that
    which it must be read against, where others are joined only because they are still clipped."""
    groups, chassis = context.groups, context.harness.chassis
    group = groups.number[red]
    expected = circuit_of(context.harness, state).ohms(red, chassis) if group in partly else math.inf
    return Step(
        id=f"isolation:{red}:{chassis}",
        check=Isolation.name,
        stage=Stage.DEAD,
        quantity=Quantity.OHMS,
        state=state,
        question=f"is {red} apart from {chassis} and {what}?",
        subject=(red, chassis),
        red=red,
        black=chassis,
        band=least_band(context, expected),
        note=f"{_meter_note(context.meter)}; every clip and plug comes off before power is let in",
        settings={
            TURN: turn,
            **({} if met is None else {APART_FROM: sorted(met, key=contact_key)}),
            CONNECTORS: sorted({ref_of(contact) for contact in groups.members[group]}),
            FEEDS: [] if _is_fed(context, group) else _joined_feeds(context, state),
        },
    )


def _is_fed(context: Context, group: int) -> bool:
    """Whether a feed is in a group: then what joins it to anything, chassis included, keeps power out."""
    return any(context.groups.number[feed.source] == group for feed in context.harness.feeds)


def _joined_feeds(context: Context, state: BenchState) -> list[str]:
    return [feed.source for feed in context.harness.feeds if _is_joined(state, feed.source)]


def _is_joined(state: BenchState, contact: str) -> bool:
    return contact in state.links or ref_of(contact) in state.plugs


# --- plug -------------------------------------------------------------------------------------------------------------


def _gathered(context: Context) -> Iterator[Step]:
    partly = context.groups.joined_to_others()
    for turn, joining in enumerate(walk(context.harness, context.groups), 1):
        what = "all that is joined to it" if joining.state != ALL_OPEN else "all that is chassis"
        yield _bundle_step(context, joining.red, joining.state, what, partly, turn)


# --- near and full ----------------------------------------------------------------------------------------------------


def asked_elsewhere(context: Context) -> frozenset[Pair]:
    """The pairs of groups that `supply_to_ground` and `can_to_rail` read in this way."""
    harness, groups = context.harness, context.groups
    pairs = list(feed_pairs(harness))
    if context.ways.isolation is not Way.PLUG:
        pairs += [pair for bus in harness.buses for pair in bus_pairs(harness, bus, groups)]
    return frozenset(_pair(context, pair) for pair in pairs)


def _pair(context: Context, pair: NearPair) -> Pair:
    return frozenset((context.groups.number[pair.red], context.groups.number[pair.black]))


def _near(context: Context) -> dict[Pair, NearPair]:
    """Each near pair of groups once, where it is first found; those that other kinds read are left out."""
    elsewhere = asked_elsewhere(context)
    found: dict[Pair, NearPair] = {}
    for pair in near_pairs(context.harness, context.nets):
        key = _pair(context, pair)
        if len(key) == 2 and key not in elsewhere:
            found.setdefault(key, pair)
    return found


def _all(context: Context) -> dict[Pair, NearPair]:
    near, elsewhere = _near(context), asked_elsewhere(context)
    points = [clip_point(context.harness, members) for members in context.groups.members]
    found: dict[Pair, NearPair] = {}
    for one, red in enumerate(points):
        for other in range(one + 1, len(points)):
            key = frozenset((one, other))
            if key not in near and key not in elsewhere:
                found[key] = NearPair(red, points[other], Why.ALL)
    return found


def _apart(context: Context, pairs: Mapping[Pair, NearPair]) -> Iterator[Step]:
    for pair in pairs.values():
        yield isolation_step(Isolation.name, context, pair.red, pair.black, pair.why.value)


def _clipped(context: Context, pairs: dict[Pair, NearPair]) -> Iterator[Step]:
    """The near pairs. The feeds and some hubs are clipped to chassis one after the other, each once it is read against
    what is clipped before it; then every other group is read against all of them at once. What is left goes pair by pair.
    """
    harness, groups = context.harness, context.groups
    chassis = groups.number[harness.chassis]
    wanted: dict[int, set[int]] = {}
    for one, other in map(tuple, pairs):
        wanted.setdefault(one, set()).add(other)
        wanted.setdefault(other, set()).add(one)
    feeds = {groups.number[feed.source] for feed in harness.feeds} - {chassis}
    # what planned parts join to a feed reads their ohms and no more, so it goes pair by pair
    beside = {group for group in wanted if any(groups.joined(group, groups.number[f.source]) for f in harness.feeds)}
    able = set(wanted) - beside - {chassis}
    read_apart = {group for group in able if not wanted[group] & {chassis, *feeds}}
    points = {groups.number[f.source]: f.source for f in harness.feeds if groups.number[f.source] in feeds}
    chosen = hubs(wanted, able, read_apart)
    partly = groups.joined_to_others()

    def against(group: int, red: str, turn: int) -> Iterator[Step]:
        met = wanted[group] & {chassis, *points}
        if len(met) < 2:
            return  # a pair of its own, if that
        for other in met:
            del pairs[frozenset((group, other))]
        near = sorted((points[other] for other in met - {chassis}), key=contact_key)
        names = ", ".join(near)
        state = BenchState(links=frozenset(points.values()))
        yield _bundle_step(context, red, state, f"what is clipped to it, {names} among that", partly, turn, met=near)

    for turn, group in enumerate(chosen, 1):
        point = clip_point(harness, groups.members[group])
        yield from against(group, point, turn)
        points[group] = point
    for group in sorted(able.difference(chosen)):
        yield from against(group, groups.members[group][0], len(chosen) + 1)
    yield from _apart(context, pairs)
