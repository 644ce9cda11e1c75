"""Nets: what is electrically one by the wiring alone."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from model_bench import shipped
from sample_profile import sample
from small_benches import chain

from benchcheck.harness.model import Harness, Part, PartKind, Role, Run, RunState
from benchcheck.harness.nets import Groups, Nets


def harness(*runs: tuple[str, str, str], parts: tuple[Part, ...] = ()) -> Harness:
    made = tuple(Run(wire, a, b, Role.SIGNAL) for wire, a, b in runs)
    return Harness("t", "t", 20.0, "GND1", {}, made, parts, {}, (), (), ())


def test_runs_splices_studs_and_bridges_join() -> None:
    nets = Nets(sample())
    assert nets.together("P3-C", "P2-1")  # through the splice
    assert nets.members(nets.net_of("SP1") or 0) == ("P2-1", "P3-C", "SP1")
    assert nets.together("P1-2", "TB1-4")  # through the stud
    assert nets.together("P2-10", "P2-11")  # the bridge
    assert nets.together("P1-1", "P3-A")  # two runs in one contact
    assert not nets.together("P1-6", "P1-7")


def test_parts_are_between_nets() -> None:
    nets = Nets(sample())
    assert not nets.together("TB1-1", "TB1-2")  # the protector
    assert not nets.together("P1-6", "P1-7")  # the terminator
    # a contact that only a part uses is a net of its own
    assert nets.members(nets.net_of("TB1-1") or 0) == ("TB1-1",)


def test_a_contact_without_a_conductor_is_in_no_net() -> None:
    nets = Nets(sample())
    assert nets.net_of("P1-8") is None
    assert not nets.together("P1-8", "P1-8")
    assert not nets.together("P1-8", "P1-9")


def test_a_shield_that_floats_is_a_net_of_its_own() -> None:
    nets = Nets(sample())
    assert nets.members(nets.net_of("P2-ring") or 0) == ("P2-ring",)


def test_members_stand_in_reading_order_and_nets_by_their_first() -> None:
    nets = Nets(harness(("W2", "P1-10", "P1-2"), ("W1", "P1-1", "P1-9"), ("W3", "P1-2", "A1-3")))
    assert list(nets.all_members()) == [("A1-3", "P1-2", "P1-10"), ("P1-1", "P1-9")]
    assert len(nets) == 2


def test_ends_of_a_part_are_known() -> None:
    part = Part("R1", PartKind.RESISTOR, "P1-1", "P1-2", 100.0)
    assert list(Nets(harness(parts=(part,))).all_members()) == [("P1-1",), ("P1-2",)]


def test_the_demo_harness() -> None:
    """Counted by hand in its pin table: every stud is one net, and the grounds are one."""
    nets = Nets(shipped("survey_launch")[0])
    ground = nets.members(nets.net_of("GND1") or 0)
    assert {"GND1", "GND2", "GND3", "GND4", "SP1", "P100-C", "P190-3"} <= set(ground)
    assert not nets.together("GND1", "BUS1")
    assert not nets.together("BUS1", "SW1-1")  # the switch is between
    # the bus goes through SONAR and LOG inside: three pieces of wire
    assert not nets.together("P105-E", "P105-G")
    assert not nets.together("P110-4", "P110-6")
    assert nets.together("TB1-1", "P105-E")
    assert nets.together("P110-6", "P190-7")


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), max_size=20))
def test_groups_are_the_connected_components(pairs: list[tuple[int, int]]) -> None:
    groups: Groups[int] = Groups()
    for a, b in pairs:
        groups.join(a, b)
    # plain flooding, for comparison
    neighbours: dict[int, set[int]] = {}
    for a, b in pairs:
        neighbours.setdefault(a, set()).add(b)
        neighbours.setdefault(b, set()).add(a)

    def flood(start: int) -> set[int]:
        seen, todo = {start}, [start]
        while todo:
            for other in neighbours[todo.pop()] - seen:
                seen.add(other)
                todo.append(other)
        return seen

    assert {frozenset(group) for group in groups.groups()} == {frozenset(flood(item)) for item in neighbours}
    for a in neighbours:
        for b in neighbours:
            assert groups.together(a, b) == (b in flood(a))
    assert not groups.together(0, 99)


@settings(max_examples=30, deadline=None)
@given(st.permutations(range(12)))
def test_the_order_of_the_pin_table_does_not_matter(order: list[int]) -> None:
    given_ = sample()
    runs = given_.runs
    mixed = replace(given_, runs=tuple(runs[i % len(runs)] for i in order) + runs[12:])
    assert list(Nets(mixed).all_members()) == list(Nets(given_).all_members())


def test_planned_runs_are_in_the_nets_on_paper_only() -> None:
    made = chain()
    runs = tuple(replace(r, state=RunState.PLANNED) if r.wire == "W51" else r for r in made.runs)
    half = replace(made, runs=runs)
    assert Nets(half).net_of("P1-7") is None
    assert not Nets(half).together("P1-7", "P2-8")
    assert Nets(half, planned=True).together("P1-7", "P2-8")
