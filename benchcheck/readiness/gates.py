"""Gates: what must be proved before power is let in, and before a unit is plugged in."""

from __future__ import annotations

from benchcheck.harness.buses import pairs
from benchcheck.harness.circuit import circuit_of
from benchcheck.harness.model import Bus, Harness, Role
from benchcheck.harness.power import connectors_of, unit_contacts
from benchcheck.readiness.board import Board
from benchcheck.words.bench_state import BenchState

BUS_PATH_OHM = 25.0


def power_blockers(board: Board) -> list[str]:
    """Why the supply may not be switched on; empty when it may. Shorts of every feed come first."""
    return [
        f"{step.question.rstrip('?')}: not proved"
        for step in board.plan.steps
        if step.check == "supply_to_ground" and not board.passed(step)
    ]


def unit_blockers(board: Board, unit: str) -> list[str]:
    """Why a unit may not be plugged in: a feed or ground contact not proved, or volts where none belong."""
    return [step.id for step in board.plan.gates.get(unit, ()) if not board.passed(step)]


def permitted(harness: Harness, board: Board, state: BenchState, blocked: frozenset[str]) -> BenchState:
    """The bench state without the units that may not go in."""
    out = frozenset(ref for unit in blocked for ref in connectors_of(harness, unit))
    if not out & state.on_unit:
        return state
    return BenchState(state.on_unit - out, state.breakout - out, state.lifted, state.opened, state.supply_on)


def bus_reaches(harness: Harness, bus: Bus, unit: str, state: BenchState) -> bool:
    """Whether the bus runs from the adapter to a unit in this bench state, if everything is wired as planned.

    A unit that joins its bus pairs inside cuts the bus while it is out.
    """
    here = next((place for place in pairs(harness, bus) if place.connector == bus.adapter_at), None)
    if here is None:
        return False
    circuit = circuit_of(harness, state)
    return all(
        any(circuit.ohms(contact, own) < BUS_PATH_OHM for own in unit_contacts(harness, harness.units[unit], role))
        for contact, role in ((here.high, Role.CAN_H), (here.low, Role.CAN_L))
    )
