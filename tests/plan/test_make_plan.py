"""The plan: everything that must be proved, once, in an order that is safe and spares the technician's feet."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from itertools import groupby

import pytest
from model_bench import shipped
from sample_profile import sample
from small_benches import chain, connector, harness, run, stud

from benchcheck.checks.kind import all_kinds
from benchcheck.harness.model import Harness, Part, PartKind, Role, Run, RunState
from benchcheck.harness.nets import Groups
from benchcheck.plan.plan import GATE_CHECKS, STAGES, Plan, make_plan
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import InputError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.step import Quantity, Stage, Step

PROFILES = ("starter", "survey_launch")


@pytest.fixture(params=PROFILES)
def shipped_plan(request: pytest.FixtureRequest) -> tuple[Harness, Plan]:
    made, plan, _ = shipped(request.param)
    return made, plan


# --- order ---------------------------------------------------------------------------------------------------------


def test_stages_follow_each_other(shipped_plan: tuple[Harness, Plan]) -> None:
    stages = [STAGES.index(step.stage) for step in shipped_plan[1].steps]
    assert stages == sorted(stages)
    assert set(stages) == {0, 1, 2}


def test_ids_are_unique_and_found(shipped_plan: tuple[Harness, Plan]) -> None:
    plan = shipped_plan[1]
    assert len(plan.by_id) == len(plan.steps)
    assert all(plan.by_id[step.id] is step for step in plan.steps)


def test_less_plugged_comes_first(shipped_plan: tuple[Harness, Plan]) -> None:
    for stage in STAGES:
        plugged = [len(step.state.on_unit) for step in shipped_plan[1].of_stage(stage)]
        assert plugged == sorted(plugged)


def test_the_dead_stage_is_dead_and_open(shipped_plan: tuple[Harness, Plan]) -> None:
    for step in shipped_plan[1].of_stage(Stage.DEAD):
        assert not step.state.on_unit
        assert not step.state.breakout
        assert not step.state.supply_on


def test_feeds_are_proved_before_any_unit_goes_in(shipped_plan: tuple[Harness, Plan]) -> None:
    made, plan = shipped_plan
    power = plan.of_stage(Stage.POWER)
    for unit in made.units:
        mine = set(made.units[unit].connectors.values())
        first_in = next(n for n, step in enumerate(power) if mine & step.state.on_unit)
        gates = [n for n, step in enumerate(power) if step in plan.gates.get(unit, ())]
        assert gates, unit
        assert max(gates) < first_in, unit


def test_gates_are_the_steps_about_a_unit_s_contacts(shipped_plan: tuple[Harness, Plan]) -> None:
    made, plan = shipped_plan
    assert set(plan.gates) == set(made.units)
    gated = [step for steps in plan.gates.values() for step in steps]
    # a panel's contacts are read too, and belong to no unit
    assert len(gated) == sum(step.check in GATE_CHECKS and bool(step.settings["unit"]) for step in plan.steps)
    for unit, steps in plan.gates.items():
        for step in steps:
            assert step.subject[0] == unit
            assert made.connectors[ref_of(step.red)].unit == unit


def test_lifted_ends_come_after_what_needs_nothing_moved() -> None:
    dead = shipped("survey_launch")[1].of_stage(Stage.DEAD)
    open_steps = [n for n, step in enumerate(dead) if step.state == ALL_OPEN]
    lifted = [n for n, step in enumerate(dead) if step.state.lifted]
    assert lifted
    assert max(open_steps) < min(lifted)


def test_one_lifted_end_is_one_group() -> None:
    groups = [g for g in shipped("survey_launch")[1].groups() if g.state.lifted]
    assert len({g.state for g in groups}) == len(groups)


def test_each_bench_state_of_a_stage_is_made_once(shipped_plan: tuple[Harness, Plan]) -> None:
    groups = [(group.stage, group.state) for group in shipped_plan[1].groups()]
    assert len(set(groups)) == len(groups)


def test_groups_hold_every_step_once_in_order(shipped_plan: tuple[Harness, Plan]) -> None:
    plan = shipped_plan[1]
    assert [step for group in plan.groups() for step in group.steps] == list(plan.steps)
    for group in plan.groups():
        assert {(step.stage, step.state) for step in group.steps} == {(group.stage, group.state)}


def test_kinds_follow_their_rank_where_power_is_on_or_units_are_in(shipped_plan: tuple[Harness, Plan]) -> None:
    mixed = 0
    for group in shipped_plan[1].groups():
        ranks = [all_kinds()[step.check].rank for step in group.steps]
        if group.state.supply_on or group.state.on_unit:
            assert ranks == sorted(ranks)
        else:
            mixed += ranks != sorted(ranks)
    assert mixed


def test_one_lead_walks_along_the_connectors() -> None:
    """What is read against one contact: connector after connector, each once, contact by contact."""
    given, plan, _ = shipped("survey_launch")
    steps = max((g.steps for g in plan.groups() if g.stage is Stage.POWER), key=len)
    reds = [step.red for step in steps if step.check == "no_volts"]
    assert len(reds) > 100
    refs = [ref for ref, _ in groupby(reds, key=ref_of)]
    assert len(refs) == len(set(refs))
    zones = [zone for zone, _ in groupby(refs, key=lambda ref: given.connectors[ref].zone)]
    assert len(zones) == len(set(zones))


# --- what is in it -------------------------------------------------------------------------------------------------


def test_every_run_bridge_and_drain_has_a_step(shipped_plan: tuple[Harness, Plan]) -> None:
    made, plan = shipped_plan
    for entry in made.runs:
        assert (f"continuity:{entry.wire}" in plan.by_id) == bool(entry.b), entry.wire
        if entry.b:
            step = plan.by_id[f"continuity:{entry.wire}"]
            ends = {contact.rpartition("@")[2] for contact in (step.red, step.black)}
            assert ends == set(entry.ends)


def test_every_part_is_measured_or_seen_in_the_termination(shipped_plan: tuple[Harness, Plan]) -> None:
    made, plan = shipped_plan
    for part in made.parts:
        if part.kind is not PartKind.TERMINATOR:
            assert f"part_value:{part.ref}" in plan.by_id


def test_every_unit_bus_and_talker_is_heard(shipped_plan: tuple[Harness, Plan]) -> None:
    made, plan = shipped_plan
    for bus in made.buses:
        for unit in bus.nodes:
            assert f"unit_heard:{bus.name}:{unit}" in plan.by_id
        for kind in ("bus_load", "bus_errors", "bus_strangers"):
            assert f"{kind}:{bus.name}" in plan.by_id
    for link in made.links:
        for talk in link.talks:
            assert f"link_alive:{link.name}:{talk.sender}" in plan.by_id
            assert f"rs232_idle:{link.name}:{talk.sender}" in plan.by_id


def test_a_run_that_is_not_wired_yet_is_not_asked() -> None:
    given = sample()
    runs = tuple(replace(r, state=RunState.PLANNED) if r.wire == "W8" else r for r in given.runs)
    assert "continuity:W8" not in make_plan(replace(given, runs=runs)).by_id


# --- what other paths hide -------------------------------------------------------------------------------------------


def hidden(*runs: Run, parts: tuple[Part, ...] = ()) -> dict[str, Step]:
    """The continuity steps of a small harness of two 9-way connectors, two studs and these runs."""
    connectors = {"P1": connector("P1", 9), "P2": connector("P2", 9), "GND1": stud("GND1"), "GND2": stud("GND2")}
    made = harness(connectors=connectors, runs=runs, parts=parts)
    return {s.subject[0]: s for s in make_plan(made).steps if s.check == "continuity"}


def test_a_doubled_ground_between_studs_is_lifted() -> None:
    steps = hidden(run("W1", "GND1", "GND2", Role.GROUND, 2.2, 14), run("W2", "GND1", "GND2", Role.GROUND, 2.2, 14))
    for wire, step in steps.items():
        assert step.state.lifted == {f"{wire}@GND2"}
        assert f"lift {wire} off GND2" in step.note


def test_a_ring_of_three_grounds_is_lifted() -> None:
    """Open one side of a triangle, and the other two still join its ends."""
    steps = hidden(
        run("W1", "GND1", "GND2", Role.GROUND, 1.0, 14),
        run("W2", "GND2", "P1-1", Role.GROUND, 1.0, 14),
        run("W3", "P1-1", "GND1", Role.GROUND, 1.0, 14),
    )
    assert {wire: set(step.state.lifted) for wire, step in steps.items()} == {
        "W1": {"W1@GND2"},
        "W2": {"W2@GND2"},
        "W3": {"W3@GND1"},
    }


def test_a_meshed_shield_is_lifted_off_its_ring() -> None:
    steps = hidden(
        Run("S1", "P1-ring", "P2-ring", Role.SHIELD, 20, 0.9), Run("S2", "P1-ring", "P2-ring", Role.SHIELD, 20, 0.9)
    )
    assert {tuple(step.state.lifted) for step in steps.values()} == {("S1@P2-ring",), ("S2@P2-ring",)}


def test_doubled_conductors_between_crimped_contacts_can_not_be_proved() -> None:
    steps = hidden(run("W1", "P1-1", "P2-1"), run("W2", "P1-1", "P2-1"))
    for step in steps.values():
        assert step.state == ALL_OPEN
        assert "neither end can be lifted" in step.note
        assert step.settings["unresolved"]


def test_a_resistor_that_is_large_hides_nothing() -> None:
    part = Part("R1", PartKind.RESISTOR, "P1-1", "P2-1", 1000.0)
    (step,) = hidden(run("W1", "P1-1", "P2-1"), parts=(part,)).values()
    assert not step.note
    assert step.band is not None
    assert step.band.high is not None
    assert step.band.high < 10


def test_exactly_the_runs_in_a_loop_are_lifted_or_given_up(shipped_plan: tuple[Harness, Plan]) -> None:
    """A run that is a bridge of the graph (in the mathematical sense) shows when it is open; one in a loop of wires
    of a few ohms does not. Compared with a plain removal and union-find, without any resistance."""
    made, plan = shipped_plan
    joined = [(r.wire, r.a, r.b) for r in made.runs if r.b]
    joined += [(p.ref, p.a, p.b) for p in made.parts if p.kind in (PartKind.PROTECTOR, PartKind.SWITCH)]
    for wire, a, b in joined:
        if f"continuity:{wire}" not in plan.by_id:
            continue
        groups: Groups[str] = Groups()
        for other, c, d in joined:
            if other != wire:
                groups.join(c, d)
        step = plan.by_id[f"continuity:{wire}"]
        in_a_loop = groups.together(a, b)
        assert in_a_loop == bool(step.state.lifted or step.settings["unresolved"]), wire


def test_the_demo_s_doubled_grounds_and_meshed_shields() -> None:
    """As its pin table says in the notes: W202/203, W208/209, W211/212 doubled, S16/S22 and S26/S27 meshed. The
    triangles that W211 and W212 close over GND2, GND1 and GND3 take W204 with them."""
    lifted = {s.subject[0] for s in shipped("survey_launch")[1].steps if s.state.lifted}
    named = {"W202", "W203", "W208", "W209", "W211", "W212", "S16", "S22", "S26", "S27"}
    assert named | {"W204"} <= lifted
    # the rest are the shields in rings through several connectors
    assert {name[0] for name in lifted - named - {"W204"}} <= {"S"}


# --- for a person --------------------------------------------------------------------------------------------------


def moves(steps: list[Step]) -> int:
    """Counted once more, plainly: a lead that does not stay where it was is a move. Of ohms on a dead bench with the
    units out either lead may be the one that stays."""
    count, at = 0, ("", "")
    for step in steps:
        if step.quantity in (Quantity.OHMS, Quantity.VOLTS):
            now = (step.red, step.black)
            ways = [now, now[::-1]] if step.quantity is Quantity.OHMS and not step.state.on_unit else [now]
            moved = [(way[0] != at[0]) + (way[1] != at[1]) for way in ways]
            count += min(moved)
            at = ways[moved.index(min(moved))]
    return count


def test_probe_moves_are_counted(shipped_plan: tuple[Harness, Plan]) -> None:
    plan = shipped_plan[1]
    assert plan.probe_moves == moves(list(plan.steps))
    few = [s for s in plan.steps if s.quantity is Quantity.OHMS][:3]
    assert Plan((few[0], few[0])).probe_moves == 2  # nothing moves for the same two contacts again
    assert Plan(()).probe_moves == 0


def test_the_order_spares_moves() -> None:
    plan = shipped("survey_launch")[1]
    for group in plan.groups():
        mixed = list(group.steps)
        random.Random(3).shuffle(mixed)
        if moves(mixed) > 20:
            assert moves(list(group.steps)) <= moves(mixed)
    assert moves(list(plan.steps)) < moves(sorted(plan.steps, key=lambda step: step.id))


def test_the_demo_s_probe_moves_are_within_a_tenth_of_the_fewest_possible() -> None:
    plan = shipped("survey_launch")[1]
    assert plan.moves_ratio <= 1.10
    assert plan.only(Stage.DEAD).moves_ratio <= 1.10
    assert 1.0 <= plan.effort.seconds / plan.least_effort.seconds <= 1.10


@pytest.mark.parametrize("stage", STAGES)
def test_a_stage_by_itself_costs_no_less_than_its_least(shipped_plan: tuple[Harness, Plan], stage: Stage) -> None:
    part = shipped_plan[1].only(stage)
    assert part.steps == shipped_plan[1].of_stage(stage)
    for what in ("moves", "connectors", "zones"):
        assert getattr(part.effort, what) >= getattr(part.least_effort, what), what
    for what in ("changes", "readings", "loads", "amps", "listening"):
        assert getattr(part.effort, what) == getattr(part.least_effort, what), what


def test_the_estimate_grows_with_the_work() -> None:
    plan = shipped("survey_launch")[1]
    half = Plan(plan.steps[: len(plan.steps) // 2])
    assert 0 < half.estimate_s < plan.estimate_s
    assert math.isfinite(plan.estimate_s)


# --- and once more ---------------------------------------------------------------------------------------------------


def test_the_same_profile_gives_the_same_plan(shipped_plan: tuple[Harness, Plan]) -> None:
    made, plan = shipped_plan
    assert make_plan(made, MeterSpec()).steps == plan.steps


def test_the_order_of_the_pin_table_changes_no_continuity_step() -> None:
    made, plan, _ = shipped("starter")
    mixed = list(made.runs)
    random.Random(1).shuffle(mixed)
    again = make_plan(replace(made, runs=tuple(mixed)))
    wires = {s.id: s for s in plan.steps if s.check == "continuity"}
    assert {s.id: s for s in again.steps if s.check == "continuity"} == wires


def test_a_finer_meter_never_lifts_more() -> None:
    made = shipped("survey_launch")[0]
    fine = MeterSpec(ohm_percent=0.01, ohm_floor=0.001, lead_scatter_ohm=0.001)
    lifted = {s.id for s in make_plan(made, fine).steps if s.state.lifted}
    usual = {s.id for s in shipped("survey_launch")[1].steps if s.state.lifted}
    assert lifted <= usual


@pytest.mark.parametrize("profile", PROFILES)
def test_the_whole_bus_comes_after_what_needs_power(profile: str) -> None:
    """With every unit in: first all that is read with power, then the one reading with the supply off."""
    power = shipped(profile)[1].of_stage(Stage.POWER)
    assert [step.id for step in power if not step.state.supply_on] == ["termination:can1:units_in"]
    assert power[-1].id == "termination:can1:units_in"


def test_states_with_different_parts_out_are_made_once_each() -> None:
    twins = [Part(f"CB{n}", PartKind.PROTECTOR, f"P{n}-1", f"P{n}-2", 0.02) for n in (1, 2)]
    twins += [Part(f"CB{n + 2}", PartKind.PROTECTOR, f"P{n}-1", f"P{n}-2", 0.02) for n in (1, 2)]
    connectors = {ref: connector(ref, 9) for ref in ("P1", "P2")}
    plan = make_plan(harness(connectors={**connectors, "GND1": stud("GND1")}, parts=tuple(twins)))
    states = [group.state for group in plan.groups()]
    assert len(set(states)) == len(states)
    assert {tuple(sorted(state.opened)) for state in states} >= {("CB1",), ("CB2",), ("CB3",), ("CB4",)}


def test_two_steps_of_one_name_are_said_with_place_and_hint() -> None:
    made = chain()
    twice = replace(made, feeds=(*made.feeds, replace(made.feeds[0], name="again")))
    with pytest.raises(InputError) as caught:
        make_plan(twice)
    assert "two steps would be called can_to_rail:P1-3:P100-1" in caught.value.text
    assert "24V" in caught.value.text
    assert "again" in caught.value.text
    assert caught.value.where == "test"
    assert "harness.toml" in caught.value.hint
    assert "P100-1" in caught.value.hint


def test_the_plan_of_a_chain_ends_at_open_units() -> None:
    made = chain()
    plan = make_plan(made)
    at_adapter = plan.by_id["termination:P9-1:P9-2"]
    assert at_adapter.band is not None
    assert at_adapter.band.low == pytest.approx(108.0)  # one terminator is reached, with 10 percent either way
    assert at_adapter.band.high == pytest.approx(132.0)
