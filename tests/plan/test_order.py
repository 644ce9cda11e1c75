"""The order: what must come before what stays so, and within that it is about as cheap as can be."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import pytest
from harness_maker import made
from hypothesis import given, settings
from hypothesis import strategies as st
from model_bench import shipped
from small_steps import (
    CONTACTS,
    PAIRS,
    PINS,
    RANKS,
    ZONES,
    cost_of,
    lead_seconds,
    least_of_all_orders,
    ohms,
    steps_of,
    volts,
)

from benchcheck.checks.kind import all_kinds
from benchcheck.plan import order
from benchcheck.plan.bound import least_effort
from benchcheck.plan.cost import CONNECTOR_S, MOVE_S, ZONE_S
from benchcheck.plan.leads import LeadRule
from benchcheck.plan.order import Ordering, segments
from benchcheck.plan.plan import make_plan
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.step import Quantity, Stage, Step

ORDERING = Ordering(RANKS, ZONES, PINS)


# --- within a segment ----------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(PAIRS, st.booleans())
def test_between_the_bound_and_a_tenth_above_the_best(pairs: list[tuple[str, str]], alike: bool) -> None:
    steps = steps_of(pairs, alike=alike)
    found = ORDERING.arranged(steps)
    assert sorted(step.id for step in found) == sorted(step.id for step in steps)
    bound = lead_seconds(least_effort([steps], ZONES, LeadRule()))
    best = least_of_all_orders(steps, (MOVE_S, CONNECTOR_S, ZONE_S))
    assert bound <= best <= lead_seconds(cost_of(found)) <= 1.1 * best


def test_the_best_is_mostly_found() -> None:
    chance = random.Random(2)
    hits = 0
    for _ in range(30):
        steps = steps_of([chance.sample(CONTACTS, 2) for _ in range(8)])
        best = least_of_all_orders(steps, (MOVE_S, CONNECTOR_S, ZONE_S))
        hits += lead_seconds(cost_of(ORDERING.arranged(steps))) == best
    assert hits >= 22


def test_a_star_is_walked_with_one_lead() -> None:
    steps = [volts(f"P{ref}-{pin}", "GND1", number) for number, (ref, pin) in enumerate(["32", "11", "31", "12", "21"])]
    assert cost_of(ORDERING.arranged(steps)).moves == 6
    assert [step.red for step in ORDERING.arranged(steps)] == ["P1-1", "P1-2", "P2-1", "P3-1", "P3-2"]


def test_what_is_read_at_the_same_contacts_is_read_together() -> None:
    steps = [
        ohms("P1-1", "P1-2", 1, "isolation"),
        ohms("P3-1", "P3-2", 2),
        ohms("P1-2", "P1-1", 3),
        ohms("P3-1", "P3-2", 4, "isolation"),
    ]
    numbers = [step.id.split(":")[1] for step in ORDERING.arranged(steps)]
    assert numbers in (["3", "1", "2", "4"], ["2", "4", "3", "1"])


def test_the_order_they_come_in_changes_nothing() -> None:
    harness = made(30, 8, 3)
    plan = make_plan(harness)
    mixed = list(plan.steps)
    random.Random(5).shuffle(mixed)
    pins = {connector.ref: connector.contacts for connector in harness.connectors.values()}
    order.forget()
    assert (
        Ordering({name: kind.rank for name, kind in all_kinds().items()}, plan.zones, pins).arranged(mixed)
        == plan.steps
    )


def test_what_was_arranged_before_is_looked_up_and_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another day, another label: the same numbers, and nothing to seek again. Another harness is arranged."""
    harness = shipped("starter")[0]
    before = make_plan(harness)
    warm = make_plan(replace(harness, ambient_c=35.0, title="another"))
    assert [step.id for step in warm.steps] == [step.id for step in before.steps]
    order.forget()
    assert make_plan(harness).steps == before.steps
    sought: list[int] = []
    arranged = order.arranged
    monkeypatch.setattr(order, "arranged", lambda field, first: sought.append(len(field)) or arranged(field, first))
    make_plan(harness)
    assert sought == []
    make_plan(replace(harness, runs=harness.runs[:-1]))
    assert sought


def test_what_was_arranged_before_is_not_kept_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(order, "KEPT", 3)
    for count in range(2, 9):
        ORDERING.arranged([ohms("P1-1", contact, 1) for contact in CONTACTS[1:count]])
    assert len(order._kept) == 3


# --- what binds ----------------------------------------------------------------------------------------------------


def test_segments_of_a_made_harness_follow_the_stages_and_what_is_plugged() -> None:
    plan = make_plan(made(200, 20, 1))
    ranks = {step.check: 1 for step in plan.steps}
    found = list(segments(plan.steps, ranks))
    assert [step for segment in found for step in segment] == list(plan.steps)
    stages = [order.STAGES.index(segment[0].stage) for segment in found]
    assert stages == sorted(stages)
    for stage in order.STAGES:
        plugged = [len(segment[0].state.on_unit) for segment in found if segment[0].stage is stage]
        assert plugged == sorted(plugged)


def test_ranks_bind_with_power_and_not_without() -> None:
    powered = [volts("P1-1", "GND1", 1, "no_volts"), volts("P3-1", "GND1", 2, "feed_volts")]
    powered += [volts("P1-2", "GND1", 3, "feed_volts"), volts("P3-2", "GND1", 4, "no_volts")]
    assert [step.check for step in ORDERING.arranged(powered)] == ["feed_volts"] * 2 + ["no_volts"] * 2
    dead = [ohms("P1-1", "GND1", 1, "isolation"), ohms("P3-1", "GND1", 2, "continuity")]
    dead += [ohms("P1-2", "GND1", 3, "continuity"), ohms("P3-2", "GND1", 4, "isolation")]
    refs = [step.red[:2] for step in ORDERING.arranged(dead)]
    assert refs in (["P1", "P1", "P3", "P3"], ["P3", "P3", "P1", "P1"])
    assert len(list(segments(dead, RANKS))) == 1
    assert len(list(segments(powered, RANKS))) == 2


def test_each_turn_is_a_segment_of_its_own() -> None:
    """What is gathered on chassis one by one stays in its turn, whatever lies nearer."""
    ends = ["P3-1", "P1-1", "P3-2", "P1-2"]
    steps = []
    for turn, end in enumerate(ends, 1):
        state = BenchState(links=frozenset(ends[: turn - 1])) if turn > 1 else ALL_OPEN
        steps.append(replace(ohms(end, "GND1", turn, "isolation", state), settings={order.TURN: turn}))
    found = ORDERING.arranged(list(reversed(steps)))
    assert [step.red for step in found] == ends
    assert len(list(segments(steps, RANKS))) == 4


def test_lifted_ends_are_visited_by_the_shortest_way() -> None:
    steps = []
    for number, ref in enumerate(["P1", "P3", "P2", "P3", "P1"]):
        lug = f"W{number}@GND1"
        steps.append(ohms(lug, f"{ref}-{number % 4 + 1}", number, state=BenchState(lifted=frozenset({lug}))))
    refs = [step.black[:2] for step in ORDERING.arranged(steps)]
    assert sum(a != b for a, b in pairwise(refs)) == 2
    assert len(list(segments(steps, RANKS))) == 1


def test_what_needs_no_leads_keeps_the_order_of_its_names() -> None:
    state = BenchState(supply_on=True)
    steps = [Step(f"unit_heard:can1:U{n}", "unit_heard", Stage.LIVE, Quantity.CAN, state, "?", ()) for n in (10, 2, 1)]
    ordering = Ordering({"unit_heard": 140}, {}, {})
    assert [step.id[-2:] for step in ordering.arranged(steps)] == ["U1", "U2", "10"]


# --- larger harnesses ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("runs", "connectors"), [(60, 10), (150, 15)])
def test_made_harnesses_are_within_a_tenth_of_the_bound(runs: int, connectors: int) -> None:
    plan = make_plan(made(runs, connectors, 7))
    assert plan.moves_ratio <= 1.10
    assert plan.effort.seconds <= 1.10 * plan.least_effort.seconds


def test_what_is_too_large_for_shakes_is_tidied_about_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    given_harness = made(150, 15, 7)
    shaken = make_plan(given_harness)
    monkeypatch.setattr(order, "LARGE", 10)
    tidied = make_plan(given_harness)
    assert sorted(step.id for step in tidied.steps) == sorted(step.id for step in shaken.steps)
    assert tidied.effort.seconds <= 1.05 * shaken.effort.seconds
    assert tidied.moves_ratio <= 1.10
