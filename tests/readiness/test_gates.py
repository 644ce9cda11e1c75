"""Gates: what must be proved before power is let in, and before a unit goes in."""

from __future__ import annotations

import pytest
from model_bench import MemoryRecord, shipped
from small_benches import ALL_IN, chain

from benchcheck.harness.power import units_in
from benchcheck.plan.plan import GATE_CHECKS
from benchcheck.readiness.board import Board, fold
from benchcheck.readiness.gates import bus_reaches, permitted, power_blockers, unit_blockers
from benchcheck.words.bench_state import BenchState
from benchcheck.words.event import EventKind

HARNESS, PLAN, _ = shipped("survey_launch")


def board(outcomes: dict[str, str], *, waived: str = "", others: str = "PASS") -> Board:
    record = MemoryRecord()
    for step in PLAN.steps:
        outcome = outcomes.get(step.id, others)
        if outcome == "SKIPPED":
            record.append(EventKind.SKIPPED, {"step": step.id, "reason": "r"}, who="x")
        elif outcome:
            verdict = {"outcome": outcome, "reason": "r", "text": "t"}
            body = {"step": step.id, "reading": {"state": "value", "unit": "V", "value": 1.0}, "verdict": verdict}
            record.append(EventKind.READING, body, who="x")
    if waived:
        record.append(EventKind.WAIVER, {"step": waived, "reason": "accepted"}, who="x")
    return fold(PLAN, record.events())


SHORTS = [step.id for step in PLAN.steps if step.check == "supply_to_ground"]


def test_no_power_before_anything_is_proved() -> None:
    assert len(power_blockers(board({}, others=""))) == len(SHORTS) > 1
    assert power_blockers(board({})) == []


@pytest.mark.parametrize("outcome", ["FAIL", "UNSURE", "SKIPPED", ""])
@pytest.mark.parametrize("step", SHORTS)
def test_no_power_while_a_feed_is_not_proved_apart(step: str, outcome: str) -> None:
    (why,) = power_blockers(board({step: outcome}))
    assert why.endswith("not proved")
    assert PLAN.by_id[step].red in why


def test_a_named_person_may_accept_it() -> None:
    assert power_blockers(board({SHORTS[0]: "UNSURE"}, waived=SHORTS[0])) == []


def test_a_failure_elsewhere_does_not_keep_power_out() -> None:
    assert power_blockers(board({"continuity:W603": "FAIL"})) == []


@pytest.mark.parametrize("outcome", ["FAIL", "UNSURE", "SKIPPED", ""])
@pytest.mark.parametrize("check", GATE_CHECKS)
def test_a_unit_stays_out_while_one_of_its_contacts_is_not_proved(check: str, outcome: str) -> None:
    for unit, steps in PLAN.gates.items():
        step = next((s for s in steps if s.check == check), None)
        if step is None:
            assert check == "feed_drop"  # a converter that declares no load of its own
            continue
        found = board({step.id: outcome})
        assert unit_blockers(found, unit) == [step.id]
        assert [u for u in HARNESS.units if unit_blockers(found, u)] == [unit]  # and no other unit for it


def test_a_unit_that_the_plan_knows_nothing_of_is_not_blocked() -> None:
    assert unit_blockers(board({}), "NOBODY") == []


def test_a_bench_state_without_the_units_that_may_not_go_in() -> None:
    state = units_in(HARNESS, ("CONV", "NAV", "SONAR"))
    assert {"P101", "P102", "P105", "P106", "P115"} == state.on_unit
    without = permitted(HARNESS, board({}), state, frozenset({"NAV"}))
    assert without.on_unit == {"P105", "P106", "P115"}
    assert without.breakout == state.breakout - {"P102"}
    assert without.supply_on
    assert permitted(HARNESS, board({}), state, frozenset()) is state
    assert permitted(HARNESS, board({}), state, frozenset({"TIDE"})) is state  # it is not in


def test_nothing_else_of_the_state_changes() -> None:
    state = BenchState(frozenset({"P101", "P105"}), frozenset(), frozenset({"W202@GND2"}), frozenset({"CB1"}), True)
    kept = permitted(HARNESS, board({}), state, frozenset({"NAV"}))
    assert (kept.lifted, kept.opened, kept.supply_on) == (state.lifted, state.opened, True)


# --- does the bus get there ------------------------------------------------------------------------------------------


def test_a_unit_that_joins_its_pairs_cuts_the_bus_while_it_is_out() -> None:
    harness = chain()  # adapter at P9, then U1, U2, U3
    bus = harness.buses[0]
    assert [bus_reaches(harness, bus, unit, ALL_IN) for unit in ("U1", "U2", "U3")] == [True, True, True]
    middle_out = BenchState(on_unit=frozenset({"P1", "P3"}))
    assert [bus_reaches(harness, bus, unit, middle_out) for unit in ("U1", "U2", "U3")] == [True, True, False]
    first_out = BenchState(on_unit=frozenset({"P2", "P3"}))
    assert [bus_reaches(harness, bus, unit, first_out) for unit in ("U1", "U2", "U3")] == [True, False, False]


def test_the_way_across_a_terminator_is_no_way() -> None:
    harness = chain()
    bus = harness.buses[0]
    # U1 out: nothing leads on to U3, though CAN-H and CAN-L conduct to each other over RT1
    assert not bus_reaches(harness, bus, "U3", BenchState())
    assert bus_reaches(harness, bus, "U1", BenchState())  # the wire itself ends at P1


def test_in_the_demo_the_logger_and_the_sonar_carry_the_bus() -> None:
    bus = HARNESS.buses[0]
    everything = units_in(HARNESS, tuple(HARNESS.units))

    def reached(out: str) -> set[str]:
        state = permitted(HARNESS, board({}), everything, frozenset({out}))
        return {unit for unit in bus.nodes if bus_reaches(HARNESS, bus, unit, state)}

    assert reached("TIDE") == set(bus.nodes)  # its two pairs share contacts: the bus goes on
    # P190, where the adapter is, lies behind the logger: without it only helm and tide are reached, and itself
    assert reached("LOG") == {"LOG", "HELM", "TIDE"}
    assert reached("SONAR") == set(bus.nodes) - {"PMON", "WINCH"}
