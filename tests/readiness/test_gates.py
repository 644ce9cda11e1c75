"""Gates: what must be proved before power is let in, and before a unit goes in."""

from __future__ import annotations

import pytest
from model_bench import MemoryRecord, shipped
from small_benches import ALL_IN, chain

from benchcheck.diagnosis.known import bus_reaches as reaches
from benchcheck.harness.circuit import circuit_of
from benchcheck.harness.model import Bus, Harness
from benchcheck.harness.power import feeds_of_contacts, units_in
from benchcheck.plan.plan import GATE_CHECKS
from benchcheck.readiness.board import Board, fold
from benchcheck.readiness.gates import Gates
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


GATES = Gates(HARNESS, PLAN)
FED = feeds_of_contacts(HARNESS)
SHORTS = [
    step.id
    for step in PLAN.steps
    if step.check in ("supply_to_ground", "isolation", "can_to_rail")
    and (step.red in FED or step.black in FED or step.state.links & FED.keys())
]


def power_blockers(found: Board) -> list[str]:
    return GATES.power_blockers(found)


def unit_blockers(found: Board, unit: str) -> list[str]:
    return GATES.unit_blockers(found, unit)


def permitted(found: Board, state: BenchState) -> BenchState:
    return GATES.permitted(found, state)


def bus_reaches(harness: Harness, bus: Bus, unit: str, state: BenchState) -> bool:
    return reaches(harness, circuit_of(harness, state), bus, unit)


def without(*units: str) -> Board:
    """A board on which everything has passed but one contact of each of these units."""
    return board({PLAN.gates[unit][0].id: "FAIL" for unit in units})


def test_no_power_before_anything_is_proved() -> None:
    assert len(power_blockers(board({}, others=""))) == len(SHORTS) > 1
    assert power_blockers(board({})) == []


@pytest.mark.parametrize("outcome", ["FAIL", "UNSURE", "SKIPPED", ""])
@pytest.mark.parametrize("step", SHORTS[::20])
def test_no_power_while_a_feed_is_not_proved_apart(step: str, outcome: str) -> None:
    (why,) = power_blockers(board({step: outcome}))
    assert PLAN.by_id[step].red in why


def test_neighbours_of_a_feed_are_among_what_must_be_proved() -> None:
    """A strand from a feed to the contact beside it is a short like any other."""
    assert any(step.startswith("isolation:") for step in SHORTS)
    assert any(step.startswith("can_to_rail:") for step in SHORTS)


def test_one_that_failed_against_many_lets_power_in_where_each_feed_was_read_by_itself() -> None:
    step = next(step for step in SHORTS if PLAN.by_id[step].state.links)
    for reason, blocked in (("joined", 1), ("joined_to_no_feed", 0)):
        verdict = {"outcome": "FAIL", "reason": reason, "text": "t"}
        reading = {"state": "value", "unit": "ohm", "value": 1.0}
        record = MemoryRecord()
        record.append(EventKind.READING, {"step": step, "reading": reading, "verdict": verdict}, who="x")
        found = board({})
        found = Board(PLAN, {**found.results, **fold(PLAN, record.events()).results})
        assert len(power_blockers(found)) == blocked


def test_a_waiver_lets_no_power_in() -> None:
    assert len(power_blockers(board({SHORTS[0]: "UNSURE"}, waived=SHORTS[0]))) == 1


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


def test_a_unit_that_drew_too_much_comes_out_again() -> None:
    record = MemoryRecord()
    verdict = {"outcome": "FAIL", "reason": "too_much", "text": "t"}
    reading = {"state": "value", "unit": "A", "value": 9.0}
    record.append(EventKind.READING, {"step": "unit_current:NAV", "reading": reading, "verdict": verdict}, who="x")
    drawn = fold(PLAN, record.events()).results
    found = board({})
    found = Board(PLAN, {**found.results, **drawn})
    assert unit_blockers(found, "NAV") == ["unit_current:NAV"]
    state = units_in(HARNESS, ("CONV", "NAV"))
    assert not {"P101", "P102"} & permitted(found, state).on_unit
    # but for the very reading that could clear it
    assert GATES.permitted(found, state, going_in="NAV").on_unit >= {"P101", "P102"}
    assert GATES.why_not(found, PLAN.by_id["unit_current:NAV"]) == ""
    assert "NAV may not be plugged in" in GATES.why_not(found, PLAN.by_id["unit_heard:can1:NAV"])


def test_what_lies_beside_a_dead_feed_is_not_read() -> None:
    step = next(s for s in PLAN.gates["NAV"] if s.check == "no_volts")
    assert GATES.why_not(board({step.id: ""}), step) == ""
    dead = next(s.id for s in PLAN.gates["NAV"] if s.check == "feed_volts")
    assert GATES.why_not(board({step.id: "", dead: "FAIL"}), step) == f"the feed is not proved live here: {dead}"


def test_a_bench_state_without_the_units_that_may_not_go_in() -> None:
    state = units_in(HARNESS, ("CONV", "NAV", "SONAR"))
    assert {"P101", "P102", "P105", "P106", "P115"} == state.on_unit
    rest = permitted(without("NAV"), state)
    assert rest.on_unit == {"P105", "P106", "P115"}
    assert rest.breakout == state.breakout - {"P102"}
    assert rest.supply_on
    assert permitted(board({}), state) == state
    assert permitted(without("TIDE"), state) == state  # it is not in


def test_nothing_else_of_the_state_changes() -> None:
    state = BenchState(frozenset({"P101", "P105"}), frozenset(), frozenset({"W202@GND2"}), frozenset({"CB1"}), True)
    kept = permitted(without("NAV"), state)
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
        state = permitted(without(out), everything)
        return {unit for unit in bus.nodes if bus_reaches(HARNESS, bus, unit, state)}

    assert reached("TIDE") == set(bus.nodes)  # its two pairs share contacts: the bus goes on
    # P190, where the adapter is, lies behind the logger: without it only helm and tide are reached, and itself
    assert reached("LOG") == {"LOG", "HELM", "TIDE"}
    assert reached("SONAR") == set(bus.nodes) - {"PMON", "WINCH"}
