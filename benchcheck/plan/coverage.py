"""Coverage: how many of the pairs that must be apart the readings of a plan prove apart, and how many are proved so far.

A pair is a pair of conducting groups. One reading proves every group that lies at its red lead apart from every group
that lies at its black lead, those that clips and plugs join to them included. Counted are the kinds that ask for
isolation; what other readings show by the way (termination, a protector that is out) is not.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass

from benchcheck.checks.kind import Context
from benchcheck.harness.conducting import Conducting
from benchcheck.harness.model import Harness
from benchcheck.harness.near import Why, bus_pairs, feed_pairs, near_pairs
from benchcheck.plan.plan import Plan
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import join
from benchcheck.words.meter import MeterSpec
from benchcheck.words.step import Step

ISOLATION_CHECKS = ("isolation", "supply_to_ground", "can_to_rail")


@dataclass(frozen=True, slots=True)
class ClassCoverage:
    """One class of pairs: how many there are, how many the plan's readings prove, how many are proved by now."""

    name: str
    pairs: int
    planned: int
    proved: int

    @property
    def percent(self) -> float:
        """Planned of all; 100 where there is none."""
        return 100.0 if not self.pairs else 100 * self.planned / self.pairs


@dataclass(frozen=True, slots=True)
class Coverage:
    """The classes in order, the last one being every pair of nets, and what the proof costs.

    readings  of the three kinds that ask for isolation
    contacts  populated contacts of the harness: those of connectors, without shells, rings, studs and splices
    nets      of the harness
    groups    conducting groups: nets that closed protectors and small parts join are one
    """

    classes: tuple[ClassCoverage, ...]
    readings: int
    contacts: int
    nets: int
    groups: int

    @property
    def readings_per_contact(self) -> float:
        return self.readings / self.contacts if self.contacts else 0.0


class _Proved:
    """Pairs of groups that readings prove, a row of bits for each group."""

    def __init__(self, harness: Harness, groups: Conducting) -> None:
        self._groups = groups
        self._rows = [0] * len(groups)
        self._chassis = groups.number[harness.chassis]
        # connector -> the groups that a plug on it joins
        self._on = {
            connector.ref: {
                number
                for pin in connector.contacts
                if (number := groups.number.get(join(connector.ref, pin))) is not None
            }
            for connector in harness.connectors.values()
        }
        self._bundles: dict[BenchState, frozenset[int]] = {}

    def add(self, step: Step) -> None:
        """Take in what a step proves when it passes."""
        number = self._groups.number
        if step.red not in number or step.black not in number:
            return
        bundle = self._bundle(step.state)
        red, black = ({group, *(bundle if group in bundle else ())} for group in (number[step.red], number[step.black]))
        if red & black:
            return  # joined by design
        if len(red) > len(black):
            red, black = black, red
        for one in red:
            for other in black:
                self._rows[one] |= 1 << other
                self._rows[other] |= 1 << one

    def has(self, one: int, other: int) -> bool:
        return bool(self._rows[one] >> other & 1)

    def count(self) -> int:
        return sum(row.bit_count() for row in self._rows) // 2

    def _bundle(self, state: BenchState) -> frozenset[int]:
        """The groups that are joined to chassis, which is one of them."""
        if not (state.plugs or state.links):
            return frozenset()
        if state not in self._bundles:
            found = {self._chassis, *(self._groups.number[link] for link in state.links if link in self._groups.number)}
            for ref in state.plugs:
                found |= self._on.get(ref, set())
            self._bundles = {state: frozenset(found)}  # steps of one state follow each other
        return self._bundles[state]


def coverage_of(context: Context, plan: Plan, passed: Container[str] = ()) -> Coverage:
    """The coverage of a plan, and what those of its steps have proved whose names are in `passed`."""
    harness, groups = context.harness, context.groups
    planned, proved = _Proved(harness, groups), _Proved(harness, groups)
    readings = 0
    for step in plan.steps:
        if step.check in ISOLATION_CHECKS:
            readings += 1
            planned.add(step)
            if step.id in passed:
                proved.add(step)
    classes = [
        ClassCoverage(why, len(pairs), sum(planned.has(*p) for p in pairs), sum(proved.has(*p) for p in pairs))
        for why, pairs in _classes(context).items()
    ]
    every = len(groups) * (len(groups) - 1) // 2
    classes.append(ClassCoverage("every two nets", every, planned.count(), proved.count()))
    populated = sum(
        groups.number.get(join(connector.ref, pin)) is not None
        for connector in harness.connectors.values()
        if connector.family not in ("stud", "splice")
        for pin in connector.contacts
    )
    return Coverage(tuple(classes), readings, populated, len(context.nets), len(groups))


def _classes(context: Context) -> dict[str, set[tuple[int, int]]]:
    """Class -> the pairs of groups in it; a pair may be in several. Pairs that conduct by design are in none."""
    harness, groups = context.harness, context.groups
    found: dict[str, set[tuple[int, int]]] = {
        name: set()
        for name in (Why.NEIGHBOURS.value, Why.CHASSIS.value, Why.SHIELD.value, Why.FEEDS.value, Why.CABLE.value)
    }
    fed = {groups.number[feed.source] for feed in harness.feeds}
    for pair in _every_near(harness, context):
        one, other = groups.number[pair[0]], groups.number[pair[1]]
        if one != other:
            key = (min(one, other), max(one, other))
            found[pair[2]].add(key)
            if fed & {one, other}:
                found[Why.FEEDS.value].add(key)
    return found


def _every_near(harness: Harness, context: Context) -> Iterator[tuple[str, str, str]]:
    for pair in near_pairs(harness, context.nets):
        yield pair.red, pair.black, pair.why.value
    further = [*feed_pairs(harness), *(p for bus in harness.buses for p in bus_pairs(harness, bus, context.groups))]
    for pair in further:
        yield pair.red, pair.black, Why.FEEDS.value


def coverage_lines(plan: Plan, harness: Harness) -> tuple[str, ...]:
    """What the isolation readings of a plan prove, for people; nothing where it has none."""
    if not any(step.check in ISOLATION_CHECKS for step in plan.steps):
        return ()
    return tuple(_lines(coverage_of(Context(harness, MeterSpec()), plan)))


def coverage_document(plan: Plan, harness: Harness) -> dict[str, object]:
    """The same for programs: plain JSON values."""
    return coverage_json(coverage_of(Context(harness, MeterSpec()), plan))


def _lines(coverage: Coverage) -> Iterable[str]:
    yield (
        f"Isolation: {coverage.readings} readings for {coverage.contacts} populated contacts "
        f"({coverage.readings_per_contact:.2f} each) and {coverage.nets} nets in {coverage.groups} conducting groups. Where all of them pass:"
    )
    for entry in coverage.classes:
        yield f"  {entry.name}: {entry.planned} of {entry.pairs} pairs proved apart ({entry.percent:.4g} %)"


def coverage_json(coverage: Coverage) -> dict[str, object]:
    """A coverage as plain JSON values."""
    return {
        "readings": coverage.readings,
        "contacts": coverage.contacts,
        "readings_per_contact": round(coverage.readings_per_contact, 3),
        "nets": coverage.nets,
        "groups": coverage.groups,
        "classes": [
            {"name": entry.name, "pairs": entry.pairs, "planned": entry.planned, "proved": entry.proved}
            for entry in coverage.classes
        ],
    }
