"""Which lead goes where: fewest moved, and never the other way round where a diode or power makes a difference."""

from __future__ import annotations

import pytest
from small_benches import connector, harness, run, stud

from benchcheck.harness.model import Part, PartKind
from benchcheck.plan.leads import IN_HAND, LeadRule, put_down
from benchcheck.words.bench_state import ALL_OPEN, BenchState


def test_leads_in_the_hand_go_as_the_reading_has_them() -> None:
    assert put_down(IN_HAND, "P1-2", "P1-1", alike=True) == ("P1-2", "P1-1")


def test_a_lead_that_is_there_stays() -> None:
    assert put_down(("P1-1", "P1-2"), "P1-2", "P1-3", alike=True) == ("P1-3", "P1-2")
    assert put_down(("P1-1", "P1-2"), "P1-3", "P1-1", alike=True) == ("P1-1", "P1-3")
    assert put_down(("P1-1", "P1-2"), "P1-2", "P1-1", alike=True) == ("P1-1", "P1-2")


def test_red_is_red_where_it_matters() -> None:
    assert put_down(("P1-1", "P1-2"), "P1-2", "P1-3", alike=False) == ("P1-2", "P1-3")


def test_leads_stay_in_their_connector_where_as_many_move() -> None:
    assert put_down(("P1-1", "P2-1"), "P2-2", "P1-2", alike=True) == ("P1-2", "P2-2")
    assert put_down(("P1-1", "P2-1"), "P3-2", "P4-2", alike=True) == ("P3-2", "P4-2")


def bench(*parts: Part) -> LeadRule:
    connectors = {"P1": connector("P1", 9), "P2": connector("P2", 9), "GND1": stud("GND1")}
    return LeadRule(harness(connectors=connectors, runs=(run("W1", "P1-1", "P2-1"),), parts=parts))


def test_ohms_on_a_dead_open_bench_are_the_same_both_ways() -> None:
    assert bench().alike("P1-1", "P2-1", ALL_OPEN)
    assert LeadRule().alike("P1-1", "P2-1", BenchState(lifted=frozenset({"W1@GND1"})))


@pytest.mark.parametrize("state", [BenchState(supply_on=True), BenchState(on_unit=frozenset({"P2"}))], ids=str)
def test_with_power_or_units_red_is_red(state: BenchState) -> None:
    assert not bench().alike("P1-1", "P2-1", state)


def test_a_diode_makes_a_difference_only_between_what_it_joins() -> None:
    rule = bench(Part("D1", PartKind.DIODE, "P1-1", "P1-2"))
    assert not rule.alike("P1-1", "P1-2", ALL_OPEN)
    assert not rule.alike("P2-1", "P1-2", ALL_OPEN)  # over W1
    assert rule.alike("P1-1", "P2-1", ALL_OPEN)  # one side of it: only wire between
    assert rule.alike("P1-1", "P1-3", ALL_OPEN)
    assert rule.alike("P1-4", "P1-3", ALL_OPEN)
    assert bench(Part("R1", PartKind.RESISTOR, "P1-1", "P1-2", 100.0)).alike("P1-1", "P1-2", ALL_OPEN)
