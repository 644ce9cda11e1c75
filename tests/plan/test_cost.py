"""The cost model, by orders that can be counted on the fingers."""

from __future__ import annotations

from dataclasses import replace

from small_steps import ZONES, cost_of, ohms, volts

from benchcheck.plan.cost import (
    AMPS_S,
    CHANGE_S,
    CONNECTOR_S,
    LISTEN_S,
    LOAD_S,
    MOVE_S,
    READ_S,
    Effort,
    effort,
)
from benchcheck.plan.leads import LeadRule
from benchcheck.words.bench_state import BenchState
from benchcheck.words.step import Quantity, Stage, Step


def test_nothing_costs_nothing() -> None:
    assert cost_of([]) == Effort()
    assert Effort().seconds == 0


def test_the_first_step_puts_both_leads_down() -> None:
    assert cost_of([ohms("P1-1", "P1-2")]) == Effort(moves=2, connectors=2, zones=0, readings=1)
    assert cost_of([ohms("P1-1", "P3-2")]) == Effort(moves=2, connectors=2, zones=0, readings=1)


def test_a_walk_counted_by_hand() -> None:
    walk = [
        ohms("P1-1", "P1-2"),
        ohms("P1-2", "P1-3"),  # one lead, in the connector
        ohms("P2-3", "P1-3"),  # one lead, to another connector of the zone
        ohms("P2-3", "P3-1"),  # one lead, to another zone
        ohms("P3-2", "P2-4"),  # both leads, each in its connector; they are in two zones
        ohms("P2-4", "P3-2", check="isolation"),  # the same two contacts
        ohms("GND1", "P1-4"),  # both leads: from left and right to floor and left
    ]
    assert cost_of(walk) == Effort(
        moves=2 + 1 + 1 + 1 + 2 + 0 + 2,
        connectors=2 + 0 + 1 + 1 + 0 + 0 + 2,
        zones=0 + 0 + 0 + 1 + 1 + 0 + 2,
        readings=7,
    )


def test_red_and_black_are_not_exchanged_for_volts() -> None:
    there = volts("P1-1", "P1-2")
    assert cost_of([there, volts("P1-2", "P1-3")]).moves == 4
    assert cost_of([there, volts("P1-3", "P1-2")]).moves == 3
    assert cost_of([replace(there, stage=Stage.DEAD, quantity=Quantity.OHMS), there]).moves == 2


def test_the_bench_is_counted_by_what_is_done_to_it() -> None:
    lifted = BenchState(lifted=frozenset({"W1@GND1"}))
    other = BenchState(lifted=frozenset({"W2@GND1"}))
    steps = [ohms("P1-1", "P1-2", 1, state=lifted), ohms("P1-1", "P1-2", 2, state=other)]
    assert cost_of(steps).changes == 3  # lift; put back, lift
    assert cost_of(steps[:1] * 2).changes == 1


def test_seconds_are_the_sum_of_all() -> None:
    state = BenchState(supply_on=True)

    def further(quantity: Quantity, **more: float) -> Step:
        return Step(str(quantity), "x", Stage.LIVE, quantity, state, "?", (), **more)  # type: ignore[arg-type]

    steps = [
        replace(volts("P1-1", "P3-2"), load_a=2.0),
        further(Quantity.AMPS),
        further(Quantity.CAN),
        further(Quantity.CAN),
        further(Quantity.LINE),
    ]
    cost = effort(steps, ZONES, LeadRule())
    assert (cost.loads, cost.amps, cost.listening, cost.changes) == (1, 1, 2, 1)
    assert cost.seconds == (2 * MOVE_S + 2 * CONNECTOR_S + CHANGE_S + READ_S + LOAD_S + AMPS_S + 2 * LISTEN_S)
