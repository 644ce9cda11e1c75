"""The plan: every step that the check kinds want, in an order that a person can follow."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from benchcheck.checks.kind import Context, all_kinds
from benchcheck.harness.model import Harness
from benchcheck.plan.bound import WAYS, Touched, least_ways, touched
from benchcheck.plan.cost import Effort, effort
from benchcheck.plan.leads import LeadRule
from benchcheck.plan.order import STAGES, Ordering, segments
from benchcheck.plan.resolving import with_doubts
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import InputError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.step import Stage, Step
from benchcheck.words.ways import Ways

__all__ = ["GATE_CHECKS", "STAGES", "Group", "Plan", "make_plan"]

# The kinds that prove a unit's contacts before it goes in; their steps name the unit in their settings.
GATE_CHECKS = ("feed_volts", "feed_drop", "no_volts")


@dataclass(frozen=True, slots=True)
class Group:
    """Steps of one stage that are done in one bench state."""

    stage: Stage
    state: BenchState
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Plan:
    """Steps in order.

    conducting  contact -> number of the conducting group it is in, parts closed and units out: what a rework touches
    zones       connector -> where it is, for what it costs to go there
    rule        which readings may be taken with the leads exchanged
    parts       what each of its segments touches, where that is known already
    """

    steps: tuple[Step, ...]
    conducting: Mapping[str, int] = field(default_factory=dict)
    zones: Mapping[str, str] = field(default_factory=dict, repr=False)
    rule: LeadRule = field(default_factory=LeadRule, compare=False, repr=False)
    parts: tuple[Touched, ...] | None = field(default=None, compare=False, repr=False)

    @cached_property
    def by_id(self) -> dict[str, Step]:
        return {step.id: step for step in self.steps}

    @cached_property
    def on_connector(self) -> dict[str, frozenset[int]]:
        """Connector -> the numbers of the conducting groups that have a contact in it."""
        found: dict[str, set[int]] = {}
        for contact, group in self.conducting.items():
            found.setdefault(ref_of(contact), set()).add(group)
        return {ref: frozenset(groups) for ref, groups in found.items()}

    @cached_property
    def gates(self) -> dict[str, tuple[Step, ...]]:
        """Unit -> the steps that must have passed before it is plugged in."""
        found: dict[str, list[Step]] = {}
        for step in self.steps:
            if step.check in GATE_CHECKS and step.settings["unit"]:
                found.setdefault(str(step.settings["unit"]), []).append(step)
        return {unit: tuple(steps) for unit, steps in found.items()}

    def groups(self) -> Iterator[Group]:
        """The steps cut where the stage or the bench state changes."""
        start = 0
        for end in range(1, len(self.steps) + 1):
            first = self.steps[start]
            if end == len(self.steps) or (self.steps[end].stage, self.steps[end].state) != (first.stage, first.state):
                yield Group(first.stage, first.state, self.steps[start:end])
                start = end

    def of_stage(self, stage: Stage) -> tuple[Step, ...]:
        return tuple(step for step in self.steps if step.stage is stage)

    def only(self, stage: Stage) -> Plan:
        """The plan of one stage by itself: it starts with the leads in the hand and everything open."""
        return replace(
            self, steps=self.of_stage(stage), parts=tuple(part for part in self._parts if part.stage is stage)
        )

    @cached_property
    def effort(self) -> Effort:
        """What the steps cost in this order, by `plan.cost`."""
        return effort(self.steps, self.zones, self.rule)

    @cached_property
    def least_effort(self) -> Effort:
        """What no safe order of the steps can stay below: see `plan.bound`."""
        return replace(self.effort, **dict(zip(WAYS, least_ways(self._parts), strict=True)))

    @cached_property
    def _parts(self) -> tuple[Touched, ...]:
        if self.parts is not None:
            return self.parts
        ranks = {name: kind.rank for name, kind in all_kinds().items()}
        return tuple(touched(segments(self.steps, ranks), self.zones))

    @property
    def probe_moves(self) -> int:
        """How often a lead is put on another contact."""
        return self.effort.moves

    @property
    def moves_ratio(self) -> float:
        """Probe moves over the fewest that are possible; 1 where there is nothing to probe."""
        least = self.least_effort.moves
        return self.probe_moves / least if least else 1.0

    @property
    def estimate_s(self) -> float:
        """Time for a person, in seconds, on the costs of `plan.cost`."""
        return self.effort.seconds


def make_plan(harness: Harness, meter: MeterSpec | None = None, ways: Ways | None = None) -> Plan:
    """All steps of a harness for the dead, power and live stages, for what this meter can tell, in the ways chosen.

    Raises InputError where two steps would have one name: the profile lists something twice, and a reading could not
    be told to belong to one of them.
    """
    context = Context(harness, meter or MeterSpec(), ways)
    kinds = all_kinds()
    steps = with_doubts((step for kind in kinds.values() for step in kind.steps(context)), context.meter)
    _check_unique(harness, steps)
    zones = {connector.ref: connector.zone for connector in harness.connectors.values()}
    pins = {connector.ref: connector.contacts for connector in harness.connectors.values()}
    ordering = Ordering({name: kind.rank for name, kind in kinds.items()}, zones, pins)
    return Plan(ordering.arranged(steps), _groups(context), zones, LeadRule(harness))


def _check_unique(harness: Harness, steps: Sequence[Step]) -> None:
    seen: dict[str, Step] = {}
    for step in steps:
        first = seen.setdefault(step.id, step)
        if first is not step:
            about = ", ".join(dict.fromkeys((*first.subject, *step.subject)))
            raise InputError(
                f"two steps would be called {step.id}: '{first.question}' and '{step.question}'",
                where=harness.name,
                hint=f"Look in harness.toml for what is listed twice, or shares its contacts with another: {about}.",
            )


def _groups(context: Context) -> dict[str, int]:
    circuit = context.circuit(ALL_OPEN)
    found: dict[str, int] = {}
    for members in context.nets.all_members():
        for contact in members:
            if contact not in found:
                number = len(found)
                found |= dict.fromkeys(circuit.component(contact), number)
    return found
