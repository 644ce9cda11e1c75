"""Gates: what must be proved before power is let in, and before a unit is plugged in. A waiver opens none of them."""

from __future__ import annotations

from benchcheck.diagnosis.known import bus_reaches
from benchcheck.harness.circuit import circuit_of
from benchcheck.harness.model import Bus, Harness
from benchcheck.harness.power import connectors_of, feeds_of_contacts, plug_order, power_pairs
from benchcheck.plan.plan import GATE_CHECKS, Plan
from benchcheck.readiness.board import Board
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import ref_of
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome

SHORT_CHECKS = ("supply_to_ground", "isolation", "can_to_rail")
BUS_CHECKS = ("can_level", "bus_load", "bus_errors", "bus_strangers", "termination")


class Gates:
    """Asked before each step; the board is given, since it changes with each reading."""

    def __init__(self, harness: Harness, plan: Plan) -> None:
        self._harness = harness
        fed = feeds_of_contacts(harness)
        self._feeders: dict[str, set[str]] = {}
        for pair in power_pairs(harness):
            if pair.feed.converter:
                self._feeders.setdefault(pair.unit, set()).add(pair.feed.converter)
        # every step that says whether something lies across a feed, or beside it
        fed_connectors = {ref_of(contact) for contact in fed}
        self._shorts = tuple(
            step
            for step in plan.steps
            if step.check in SHORT_CHECKS
            and (
                step.red in fed
                or step.black in fed
                # what clips and plugs join to the black lead is read with it
                or any(link in fed for link in step.state.links)
                or step.state.plugs & fed_connectors
            )
        )

    def power_blockers(self, board: Board) -> list[str]:
        """Why the supply may not be switched on; empty when it may: no feed before its shorts are proved."""
        return [step.question.rstrip("?") for step in self._shorts if not _apart(board, step)]

    def unit_blockers(self, board: Board, unit: str) -> list[str]:
        """Why a unit may not be plugged in: contacts not proved, or more current than it may draw."""
        steps = [s.id for s in board.plan.gates.get(unit, ()) if board.outcome(s.id) is not Outcome.PASS]
        drawn = board.results.get(f"unit_current:{unit}")
        if drawn is not None and drawn.outcome is Outcome.FAIL and drawn.verdict.reason == "too_much":
            steps.append(drawn.step.id)
        return steps

    def blocked(self, board: Board) -> frozenset[str]:
        """The units that may not go in now."""
        out = {unit for unit in plug_order(self._harness) if self.unit_blockers(board, unit)}
        # without its converter a unit gets nothing, and what is read of it says nothing
        return frozenset(out | {unit for unit, feeders in self._feeders.items() if feeders & out})

    def permitted(self, board: Board, state: BenchState, going_in: str = "") -> BenchState:
        """The bench state without the units that may not go in. `going_in` is the one whose current is read now."""
        if not state.on_unit:
            return state
        blocked = self.blocked(board) - {going_in}
        out = frozenset(ref for unit in blocked for ref in connectors_of(self._harness, unit))
        return BenchState(state.on_unit - out, state.breakout - out, state.lifted, state.opened, state.supply_on)

    def why_not(self, board: Board, step: Step) -> str:
        """Why a step can't be done now; empty when it can."""
        if not step.state.supply_on and not step.state.on_unit:
            return ""
        shorts = self.power_blockers(board)
        if shorts:
            more = f" and {len(shorts) - 2} more" if len(shorts) > 2 else ""
            return f"power is not let in, not proved: {'; '.join(shorts[:2])}{more}"
        blocked = self.blocked(board)
        unit = str(step.settings.get("unit", ""))
        if step.check in GATE_CHECKS:
            return self._why_not_units_out(board, step, unit, blocked)
        mine = self.unit_blockers(board, unit) if unit else []
        if step.check == "unit_current":
            mine = [name for name in mine if name != step.id]  # to be read again is how it is cleared
        if mine:
            return f"{unit} may not be plugged in: {', '.join(mine[:3])} not proved"
        feeders = self._feeders.get(unit, set()) & blocked
        if feeders:
            return f"{', '.join(sorted(feeders))} feeds {unit} and may not be plugged in"
        return self._why_not_on_bus(step, unit, blocked, self.permitted(board, step.state))

    def _why_not_units_out(self, board: Board, step: Step, unit: str, blocked: frozenset[str]) -> str:
        feeder = next((other for other in blocked if other != unit and self._is_plugged(other, step.state)), "")
        if feeder:
            return f"{feeder} feeds this contact and may not be plugged in yet"
        if step.check != "feed_volts":
            # a contact beside a dead feed shows nothing, whatever lies between them
            dead = [
                s.id
                for s in board.plan.gates.get(unit, ())
                if s.check == "feed_volts"
                and board.outcome(s.id) is not Outcome.PASS
                # a drop is about its own contact; what lies beside a contact may be joined to any feed of the unit
                and (step.check == "no_volts" or s.red == step.red)
            ]
            if dead:
                return f"the feed is not proved live here: {', '.join(dead[:3])}"
        return ""

    def _why_not_on_bus(self, step: Step, unit: str, blocked: frozenset[str], state: BenchState) -> str:
        name = str(step.settings.get("bus", ""))
        bus = next((b for b in self._harness.buses if b.name == name), None)
        if bus is None or not blocked:
            return ""
        out = ", ".join(sorted(blocked))
        if step.check == "unit_heard" and not bus_reaches(self._harness, circuit_of(self._harness, state), bus, unit):
            return f"{name} does not reach {unit} while {out} is out"
        if step.check in BUS_CHECKS and (step.stage is Stage.LIVE or step.quantity is Quantity.OHMS):
            missing = [node for node in bus.nodes if node in blocked]
            if missing:
                return f"{name} is not whole while {', '.join(missing)} is out"
        if step.check == "can_level" and not self._driven(bus, blocked, state):
            return f"nothing drives {name} at {step.red} while {out} is out"
        return ""

    def _driven(self, bus: Bus, blocked: frozenset[str], state: BenchState) -> bool:
        circuit = circuit_of(self._harness, state)
        return any(bus_reaches(self._harness, circuit, bus, node) for node in bus.nodes if node not in blocked)

    def _is_plugged(self, unit: str, state: BenchState) -> bool:
        return bool(connectors_of(self._harness, unit) & state.on_unit)


def _apart(board: Board, step: Step) -> bool:
    """Whether a step proves a feed apart. One that failed against many at once does where each feed was read by itself."""
    result = board.results.get(step.id)
    return result is not None and (result.outcome is Outcome.PASS or result.verdict.reason == "joined_to_no_feed")
