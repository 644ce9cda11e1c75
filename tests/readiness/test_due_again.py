"""Two versions of a profile: the right steps are due again, and no others."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from model_bench import shipped
from sample_profile import sample
from spoiling import spoilt

from benchcheck.harness.difference.compare import difference
from benchcheck.harness.model import Harness, Role, Run, RunState
from benchcheck.plan.plan import make_plan
from benchcheck.readiness.due_again import DueAgain, due_after_unknown, due_again
from benchcheck.words.contact import ref_of
from benchcheck.words.ways import Isolation, Ways

STARTER, PLAN, _ = shipped("starter")
LAUNCH, LAUNCH_PLAN, _ = shipped("survey_launch")


def with_runs(harness: Harness, **changes: dict[str, object]) -> Harness:
    """The harness with fields of some runs changed, by wire number."""
    runs = tuple(
        replace(run, **changes[run.wire]) if run.wire in changes else run  # type: ignore[arg-type]
        for run in harness.runs
    )
    return replace(harness, runs=runs)


def due(new: Harness, old: Harness = STARTER) -> DueAgain:
    return due_again(old, new)


def of_check(found: DueAgain, check: str) -> list[str]:
    return [name for name in found.again if name.split(":")[0] == check]


def test_every_step_is_in_one_place() -> None:
    new = with_runs(STARTER, W9={"b": "P2-11"})
    found = due(new)
    planned = [step.id for step in make_plan(new).steps]
    assert sorted([*found.again, *found.new, *found.kept]) == sorted(planned)
    assert set(found.gone) == {step.id for step in PLAN.steps} - set(planned)
    assert [name for name in planned if name in found.again] == list(found.again)


@pytest.mark.parametrize(
    "new",
    [
        STARTER,
        replace(STARTER, title="Other"),
        replace(STARTER, runs=tuple(reversed(STARTER.runs))),
        replace(STARTER, runs=tuple(replace(run, note="n", colour="pink") for run in STARTER.runs)),
        replace(STARTER, connectors={r: replace(c, zone="mast") for r, c in STARTER.connectors.items()}),
        replace(STARTER, ambient_c=38.0),
    ],
    ids=["same", "title", "order", "labels", "zones", "ambient"],
)
def test_labels_and_temperature_make_nothing_due(new: Harness) -> None:
    found = due(new)
    assert (found.again, found.new, found.gone) == ({}, (), ())
    assert len(found.kept) == len(PLAN.steps)


def test_labels_make_nothing_due_in_a_large_harness_either() -> None:
    found = due(replace(LAUNCH, runs=tuple(replace(r, note="x") for r in LAUNCH.runs), ambient_c=3.0), LAUNCH)
    assert (found.again, found.new, found.gone) == ({}, (), ())


def test_two_exchanged_contacts() -> None:
    new = with_runs(STARTER, W8={"a": "P1-4"}, W9={"a": "P1-3"})
    found = due(new)
    assert sorted(of_check(found, "continuity")) == ["continuity:W8", "continuity:W9"]
    assert not {name for name in found.new if not name.startswith("isolation:")}
    # what lies beside the two contacts that were worked on, and chassis; not the far end, not the bus beside it
    about = {end for name in of_check(found, "isolation") for end in name.split(":")[1:]}
    assert {"P1-3", "P1-4"} & about
    assert not {"P2-4", "P2-5"} & about
    assert not {"can_to_rail", "termination", "feed_volts"} & {name.split(":")[0] for name in found.again}


def test_a_forgotten_run_is_new_and_disturbs_only_what_lies_beside_it() -> None:
    new = replace(STARTER, runs=(*STARTER.runs, Run("W11", "P2-11", "GND1", Role.GROUND, 22, 0.6)))
    found = due(new)
    assert "continuity:W11" in found.new
    assert of_check(found, "continuity") == []  # an untouched run in a touched net keeps its verdict
    beside = {end for name in of_check(found, "isolation") for end in name.split(":")[1:]} - {"GND1"}
    # the wide row of fifteen contacts is over the other one: 11 lies between 3 and 4, beside 10 and 12
    groups = {"P2-3", "P2-4", "P2-10", "P2-12"}
    assert all(any(end in net for net in _nets(new, groups)) for end in beside)


def _nets(harness: Harness, contacts: set[str]) -> list[set[str]]:
    from benchcheck.harness.nets import Nets

    nets = Nets(harness)
    return [set(nets.members(n)) for contact in contacts if (n := nets.net_of(contact)) is not None]


def test_a_planned_run_that_is_wired_now() -> None:
    planned = with_runs(STARTER, W9={"state": RunState.PLANNED})
    found = due_again(planned, STARTER)
    assert "continuity:W9" in found.new
    assert of_check(found, "continuity") == []


def test_a_renumbered_run_is_a_new_step_and_disturbs_nothing() -> None:
    found = due(with_runs(STARTER, W9={"wire": "W90"}))
    assert (found.new, found.gone, found.again) == (("continuity:W90",), ("continuity:W9",), {})


def test_a_second_conductor_in_a_crimped_contact_puts_back_the_first_and_one_at_a_stud_does_not() -> None:
    doubled = replace(LAUNCH, runs=(*LAUNCH.runs, Run("W990", "P101-18", "GND2", Role.SIGNAL, 22, 1.0)))
    found = due_again(LAUNCH, doubled)
    assert "continuity:W603" in found.again  # ends in P101-18, too
    assert "continuity:W206" not in found.again  # ends at GND2


def test_a_moved_return_puts_back_the_feeds_that_used_it() -> None:
    found = due_again(LAUNCH, with_runs(LAUNCH, W224={"b": "GND3"}))
    units = {LAUNCH_PLAN.by_id[name].settings["unit"] for name in of_check(found, "feed_volts")}
    assert units == {LAUNCH.connectors["P108"].unit}
    assert of_check(found, "unit_current") == [f"unit_current:{LAUNCH.connectors['P108'].unit}"]


def test_a_unit_that_draws_more_puts_back_its_drop_and_its_current() -> None:
    old, new = sample(), sample(("units/nav.toml", "load_a = 0.5", "load_a = 0.9"))
    found = due_again(old, new)
    assert {"feed_drop:P1-1:P1-2", "unit_current:NAV"} <= set(found.again)
    assert of_check(found, "continuity") == of_check(found, "isolation") == []


def test_another_speed_of_a_line_or_a_bus_puts_back_what_is_heard_there() -> None:
    found = due_again(sample(), sample(("harness.toml", "baud = 4800", "baud = 9600")))
    assert {name.split(":")[0] for name in found.again} == {"link_alive"}
    found = due_again(sample(), sample(("harness.toml", "bitrate = 250000", "bitrate = 125000")))
    assert {name.split(":")[0] for name in found.again} <= {"unit_heard", "bus_load", "bus_errors", "bus_strangers"}
    assert of_check(found, "bus_load") == ["bus_load:can1"]


def test_what_is_clipped_elsewhere_now_keeps_what_was_proved_of_it() -> None:
    """A run that goes moves clips; a reading against more than is wanted now still proves it."""
    gone = replace(LAUNCH, runs=tuple(run for run in LAUNCH.runs if run.wire != "W603"))
    found = due_again(LAUNCH, gone)
    assert {name.split(":")[0] for name in found.again} <= {"isolation"}
    assert len(found.again) < 25


@pytest.mark.parametrize("way", Isolation)
def test_in_every_way_the_same_keeps_and_a_swap_does_not(way: Isolation) -> None:
    ways = Ways(way)
    assert due_again(STARTER, STARTER, ways=ways).again == {}
    found = due_again(STARTER, with_runs(STARTER, W8={"a": "P1-4"}, W9={"a": "P1-3"}), ways=ways)
    assert {"continuity:W8", "continuity:W9"} <= set(found.again)
    assert of_check(found, "isolation")


def test_where_the_old_one_is_not_known_whatever_rests_on_whole_nets_is_due() -> None:
    found = due_after_unknown(PLAN)
    assert found.found is None
    assert {PLAN.by_id[name].check for name in found.kept} <= {"continuity", "unit_current"}
    assert {step.id for step in PLAN.steps if step.check == "isolation"} <= set(found.again)


FREE = ["P1-9", "P2-2", "P2-3", "P2-10", "P2-11", "P2-12", "P2-13"]
EDITS = st.lists(
    st.tuples(st.sampled_from([run.wire for run in STARTER.runs if run.b]), st.sampled_from(["a", "b"]), st.sampled_from(FREE)),
    min_size=1,
    max_size=3,
    unique_by=(lambda edit: edit[0], lambda edit: edit[2]),
)  # fmt: skip


@settings(max_examples=12, deadline=None)
@given(EDITS)
def test_whatever_the_rewiring_can_have_spoiled_is_found_by_what_is_to_do(edits: list[tuple[str, str, str]]) -> None:
    """Shorts beside every contact that was worked on, planted in the network of the new harness."""
    new = with_runs(STARTER, **{wire: {end: contact} for wire, end, contact in edits})
    found = due(new)
    plan = make_plan(new)
    todo = [plan.by_id[name] for name in (*found.again, *found.new)]
    ends = {end for run in new.wired_runs for end in run.ends}
    reached = {c for c in difference(STARTER, new).contacts if c in ends and ref_of(c) != "GND1"}
    missed = [spoil for contact in sorted(reached) for spoil, seen in spoilt(new, contact, todo) if not seen]
    # a run that shares a joint with one that was moved keeps its verdict: only shorts and the moved runs count
    moved = {wire for wire, _, _ in edits}
    assert [spoil for spoil in missed if " open " not in spoil or spoil.split()[0] in moved] == []
