"""The plan: every step that the check kinds want, in an order that a person can follow."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from benchcheck.checks.kind import Context, all_kinds
from benchcheck.harness.model import Harness
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import contact_key
from benchcheck.words.errors import InputError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.ways import Ways

STAGES = (Stage.DEAD, Stage.POWER, Stage.LIVE)

# The kinds that prove a unit's contacts before it goes in; their steps name the unit in their settings.
GATE_CHECKS = ("feed_volts", "feed_drop", "no_volts")

# Seconds a technician needs, for the estimate (common practice, no source).
TOUCH_S = 6.0
SAME_CONTACT_S = 4.0
STATE_CHANGE_S = 40.0
LISTEN_S = 15.0


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
    """

    steps: tuple[Step, ...]
    conducting: Mapping[str, int] = field(default_factory=dict)

    @cached_property
    def by_id(self) -> dict[str, Step]:
        return {step.id: step for step in self.steps}

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

    @property
    def probe_moves(self) -> int:
        """How often a lead is put on another contact."""
        moves, red, black = 0, "", ""
        for step in self.steps:
            if step.quantity in (Quantity.OHMS, Quantity.VOLTS):
                moves += (step.red != red) + (step.black != black)
                red, black = step.red, step.black
        return moves

    @property
    def estimate_s(self) -> float:
        """Time for a person, in seconds, on the costs named at the top of this file."""
        probing = sum(step.quantity in (Quantity.OHMS, Quantity.VOLTS) for step in self.steps)
        listening = sum(step.quantity is Quantity.LINE for step in self.steps) + 1
        changes = len({(group.stage, group.state) for group in self.groups()})
        return (
            probing * SAME_CONTACT_S + self.probe_moves * TOUCH_S / 2 + changes * STATE_CHANGE_S + listening * LISTEN_S
        )


def make_plan(harness: Harness, meter: MeterSpec | None = None, ways: Ways | None = None) -> Plan:
    """All steps of a harness for the dead, power and live stages, for what this meter can tell, in the ways chosen.

    Raises InputError where two steps would have one name: the profile lists something twice, and a reading could not
    be told to belong to one of them.
    """
    context = Context(harness, meter or MeterSpec(), ways)
    kinds = all_kinds()
    steps = [step for kind in kinds.values() for step in kind.steps(context)]
    _check_unique(harness, steps)

    def order(step: Step) -> tuple[object, ...]:
        # Units go in one after the other, so states with less plugged come first, and what is read dead with units in
        # comes after what is read with power; then kinds by their rank, then along the contacts of a connector, so
        # that the red lead walks.
        state = step.state
        return (
            STAGES.index(step.stage),
            (len(state.on_unit), not state.supply_on, len(state.lifted), len(state.opened), len(state.breakout)),
            (sorted(state.lifted), sorted(state.on_unit), sorted(state.opened), sorted(state.breakout)),
            kinds[step.check].rank,
            contact_key(step.red or step.id),
            contact_key(step.black or step.id),
            step.id,
        )

    return Plan(tuple(sorted(steps, key=order)), _groups(context))


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
