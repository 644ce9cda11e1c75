"""Which steps rest on a contact that was pulled: those that its work can have spoiled, and no others."""

from __future__ import annotations

import pytest
from model_bench import shipped
from spoiling import spoilt

from benchcheck.harness.model import Harness
from benchcheck.plan.plan import GATE_CHECKS, Plan, make_plan
from benchcheck.readiness.dependents import Dependents, contacts_named
from benchcheck.readiness.due_again import due_again_in
from benchcheck.words.ways import Isolation, Ways

STARTER, PLAN, _ = shipped("starter")
LAUNCH, LAUNCH_PLAN, _ = shipped("survey_launch")


def pulled(*names: str, harness: Harness = STARTER, plan: Plan = PLAN, ways: Ways | None = None) -> list[str]:
    contacts = [contact for name in names for contact in contacts_named(harness, name)]
    return list(Dependents(harness, plan, ways).of_contacts(contacts))


def of_check(found: list[str], check: str) -> list[str]:
    return [name for name in found if name.split(":")[0] == check]


@pytest.mark.parametrize(
    ("name", "contacts"),
    [
        ("P1-3", ("P1-3",)),
        ("P1-ring", ("P1-ring",)),
        ("W8", ("P1-3", "P2-7")),
        ("S1", ("P2-ring",)),
        ("GND1", ("GND1",)),
        ("TB1", ("TB1-1", "TB1-2", "TB1-4")),
        ("P1", ("P1-1", "P1-2", "P1-3", "P1-4", "P1-5", "P1-6", "P1-7", "P1-8", "P1-9")),
        ("P1-44", ()),
        ("P99", ()),
        ("W99", ()),
        ("TB1-ring", ()),
    ],
)
def test_what_a_person_means(name: str, contacts: tuple[str, ...]) -> None:
    assert contacts_named(STARTER, name) == contacts


def test_a_signal_contact() -> None:
    found = pulled("P1-3")
    assert of_check(found, "continuity") == ["continuity:W8"]
    apart = [PLAN.by_id[name] for name in of_check(found, "isolation")]
    groups = Dependents(STARTER, PLAN).groups.number
    # its neighbours in the wide row of nine contacts (2, 4 beside it; 7, 8 below), the shell and so chassis
    near = {groups[contact] for contact in ("P1-2", "P1-4", "P1-7", "P1-8", "GND1")} | {groups["P1-3"]}
    assert apart
    for step in apart:
        assert groups["P1-3"] in (groups[step.red], groups[step.black])
        assert {groups[step.red], groups[step.black]} <= near
    # the transmitter's level and its talk go through it
    driven = {
        step.id for step in PLAN.steps if step.check in ("rs232_idle", "link_alive") and step.red in ("P1-3", "P2-7")
    }
    assert driven
    assert driven <= set(found)
    assert "continuity:W9" not in found
    assert not of_check(found, "feed_volts")


def test_a_core_leaves_its_shield_just_behind_its_contact() -> None:
    # at P1 the shield floats and ends beside the contact; at P2 it is drained there
    for contact in ("P1-6", "P2-4"):
        assert "isolation:P1-6:P2-ring" in pulled(contact)
    assert "isolation:P1-7:P2-ring" not in pulled("P1-6")


def test_the_isolation_of_a_far_pair_stands() -> None:
    found = pulled("P1-3")
    assert [name for name in of_check(found, "isolation") if "P2-4" in name or "P2-5" in name] == []


def test_a_feed_contact_puts_its_own_gates_back_and_not_those_of_another_unit() -> None:
    found = pulled("P101-1", harness=LAUNCH, plan=LAUNCH_PLAN)
    gates = [LAUNCH_PLAN.by_id[name] for name in found if LAUNCH_PLAN.by_id[name].check in ("feed_volts", "feed_drop")]
    assert gates
    assert {step.settings["unit"] for step in gates} == {"NAV"}
    assert of_check(found, "unit_current") == ["unit_current:NAV"]  # NAV was let in on them
    assert of_check(found, "continuity") == ["continuity:W110"]
    assert [name for name in found if name.startswith("supply_to_ground")]


def test_a_joint_that_others_are_fed_through_puts_theirs_back() -> None:
    found = pulled("CB1-2", harness=LAUNCH, plan=LAUNCH_PLAN)  # both contacts of NAV hang on it
    units = {LAUNCH_PLAN.by_id[name].settings["unit"] for name in of_check(found, "feed_volts")}
    assert units == {"NAV"}
    found = pulled("BUS1", harness=LAUNCH, plan=LAUNCH_PLAN)  # everything hangs on it, through the converter too
    units = {LAUNCH_PLAN.by_id[name].settings["unit"] for name in of_check(found, "feed_volts")}
    assert units == {step.settings["unit"] for step in LAUNCH_PLAN.steps if step.check == "feed_volts"}


def test_a_ground_contact_puts_back_what_is_read_against_it() -> None:
    found = pulled("P101-13", harness=LAUNCH, plan=LAUNCH_PLAN)
    read = [LAUNCH_PLAN.by_id[name] for name in of_check(found, "feed_volts")]
    assert read
    assert {step.black for step in read} == {"P101-13"}
    # the whole bay is on that ground, and nearly nothing of it is beside this contact
    assert len(of_check(found, "isolation")) < 10


def test_a_bus_contact_puts_back_its_piece_and_what_is_heard() -> None:
    found = pulled("P101-4", harness=LAUNCH, plan=LAUNCH_PLAN)
    assert "termination:P101-4:P101-5" in found
    assert of_check(found, "can_to_rail")
    heard = {step.id for step in LAUNCH_PLAN.steps if step.check in ("unit_heard", "bus_load", "bus_errors")}
    assert {step for step in heard if ":can1" in step} <= set(found)
    assert not {step for step in heard if ":can2" in step} & set(found)


def test_nothing_rests_on_a_contact_without_a_wire() -> None:
    assert pulled("P2-15") == []


@pytest.mark.parametrize("way", [Isolation.FULL, Isolation.PLUG])
def test_where_every_pair_is_read_every_pair_is_due(way: Isolation) -> None:
    ways = Ways(way)
    plan = make_plan(STARTER, None, ways)
    found = pulled("P1-3", plan=plan, ways=ways)
    dependents = Dependents(STARTER, plan, ways)
    group = dependents.groups.number["P1-3"]
    wanted = {step.id for step in plan.steps if any(group in pair for pair in dependents.pairs_of(step)) and
              step.check in ("isolation", "supply_to_ground", "can_to_rail")}  # fmt: skip
    assert wanted <= set(found)


@pytest.mark.parametrize("contact", sorted({end for run in LAUNCH.wired_runs for end in run.ends})[::9])
def test_of_any_contact_its_own_steps_are_due_and_unit_gates_keep_their_current(contact: str) -> None:
    found = pulled(contact, harness=LAUNCH, plan=LAUNCH_PLAN)
    own = {
        step.id
        for step in LAUNCH_PLAN.steps
        if step.check in ("continuity", "part_value", "feed_volts", "feed_drop", "termination")
        and contact in {step.red, step.black, *step.subject}
    }
    assert own <= set(found)
    units = {LAUNCH_PLAN.by_id[n].settings["unit"] for n in found if LAUNCH_PLAN.by_id[n].check in GATE_CHECKS} - {""}
    currents = {name.partition(":")[2] for name in of_check(found, "unit_current")}
    assert currents == {unit for unit in units if f"unit_current:{unit}" in LAUNCH_PLAN.by_id}
    assert found == [step.id for step in LAUNCH_PLAN.steps if step.id in set(found)]  # in plan order


@pytest.mark.parametrize("contact", sorted({end for run in STARTER.wired_runs for end in run.ends}))
def test_whatever_reseating_can_spoil_is_found_by_the_steps_that_are_due(contact: str) -> None:
    """Each run left open there, and each short to a contact beside it or to chassis: planted in the network."""
    due = [PLAN.by_id[name] for name in pulled(contact)]
    missed = []
    for spoil, seen in spoilt(STARTER, contact, due):
        if not seen:
            missed.append(spoil)
    assert missed == []


def test_the_same_profile_puts_nothing_back() -> None:
    assert due_again_in(LAUNCH, LAUNCH_PLAN, LAUNCH, LAUNCH_PLAN).again == {}
