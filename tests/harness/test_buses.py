"""What of a harness belongs to a CAN bus."""

from __future__ import annotations

from dataclasses import replace

from model_bench import shipped
from sample_profile import sample
from small_benches import chain, run, talker

from benchcheck.harness.buses import Pair, pairs, terminators, wire_contacts
from benchcheck.harness.model import Bus, Harness, Part, PartKind, Role, RunState
from benchcheck.harness.review.view import View
from benchcheck.plan.plan import make_plan


def test_the_wires_of_a_chain_go_through_the_units() -> None:
    harness = chain()
    high, low = wire_contacts(harness, harness.buses[0])
    assert high == {"P9-1", "P1-3", "P1-5", "P2-3", "P2-5", "P3-3", "P3-5"}
    assert low == {"P9-2", "P1-4", "P1-6", "P2-4", "P2-6", "P3-4", "P3-6"}


def test_an_in_and_an_out_pair_at_one_connector_are_two_places() -> None:
    harness = chain()
    assert pairs(harness, harness.buses[0]) == (
        Pair("P1", "P1-3", "P1-4"),
        Pair("P1", "P1-5", "P1-6"),
        Pair("P2", "P2-3", "P2-4"),
        Pair("P2", "P2-5", "P2-6"),
        Pair("P3", "P3-3", "P3-4"),
        Pair("P3", "P3-5", "P3-6"),  # the terminator's contacts
        Pair("P9", "P9-1", "P9-2"),
    )


def test_in_and_out_in_one_contact_are_one_place() -> None:
    harness = shipped("survey_launch")[0]
    found = pairs(harness, harness.buses[0])
    assert [p.connector for p in found].count("P103") == 1  # two conductors in a contact
    assert [p.connector for p in found].count("P105") == 2  # the head has contacts for in and for out
    assert {p.connector for p in found} == {
        *("TB1", "P114", "P113", "P105", "P107", "P103", "P101", "P110", "P112", "P108", "P190")
    }


def test_only_terminators_across_the_bus_count() -> None:
    harness = sample()
    bus = harness.buses[0]
    assert [part.ref for part in terminators(harness, bus)] == ["RT1"]
    strays = (
        Part("RT2", PartKind.TERMINATOR, "P2-5", "P2-4", 120.0),  # the other way round
        Part("RT3", PartKind.TERMINATOR, "P1-6", "P1-2", 120.0),  # to ground
        Part("R1", PartKind.RESISTOR, "P1-6", "P1-7", 120.0),  # no terminator by name
    )
    more = replace(harness, parts=harness.parts + strays)
    assert [part.ref for part in terminators(more, bus)] == ["RT1", "RT2"]


def test_a_bus_whose_adapter_is_nowhere_has_no_place() -> None:
    harness = sample()
    bus = replace(harness.buses[0], adapter_at="TB1")
    assert wire_contacts(harness, bus) == (frozenset(), frozenset())
    assert pairs(harness, bus) == ()
    assert terminators(harness, bus) == ()


def two_buses(*, adapter_at: str = "P9") -> Harness:
    """P9 - P1 and P9 - P2, a bus each; P3's unit has a pair of each and joins neither to the other."""
    gateway = talker("U3")
    made = chain()
    runs = [
        run("H1", "P9-1", "P1-3", Role.CAN_H),
        run("L1", "P9-2", "P1-4", Role.CAN_L),
        run("H2", "P9-5", "P2-3", Role.CAN_H),
        run("L2", "P9-6", "P2-4", Role.CAN_L),
        run("H3", "P1-5", "P3-3", Role.CAN_H),
        run("L3", "P1-6", "P3-4", Role.CAN_L),
        run("H4", "P2-5", "P3-5", Role.CAN_H),
        run("L4", "P2-6", "P3-6", Role.CAN_L),
    ]
    others = [r for r in made.runs if r.role not in (Role.CAN_H, Role.CAN_L)]
    first = replace(made.buses[0], nodes=("U1", "U3"), adapter_at=adapter_at)
    second = replace(first, name="can2", nodes=("U2", "U3"))
    return replace(
        made,
        runs=(*others, *runs),
        parts=made.parts[:1],
        units={**made.units, "U3": replace(gateway, type=replace(gateway.type, paths=()))},
        buses=(first, second),
    )


def test_two_buses_through_one_connector_stay_two() -> None:
    """A test connector and a gateway unit carry a pair of each bus: only a unit's own through path joins pairs."""
    harness = two_buses()
    one, two = (wire_contacts(harness, bus) for bus in harness.buses)
    assert one == ({"P9-1", "P1-3", "P1-5", "P3-3"}, {"P9-2", "P1-4", "P1-6", "P3-4"})
    assert two == ({"P9-5", "P2-3", "P2-5", "P3-5"}, {"P9-6", "P2-4", "P2-6", "P3-6"})
    ids = [step.id for step in make_plan(harness).steps]
    assert len(set(ids)) == len(ids)


def wires_seen(harness: Harness, bus: Bus) -> tuple[frozenset[str], frozenset[str]]:
    return next(seen.wires for seen in View(harness).buses if seen.bus == bus)


def test_the_review_sees_the_same_wires() -> None:
    for harness in (two_buses(), chain(), sample(), shipped("survey_launch")[0]):
        for bus in harness.buses:
            assert wires_seen(harness, bus) == wire_contacts(harness, bus)


def test_a_bus_wire_that_is_only_planned_ends_the_bus_on_the_bench_but_not_on_paper() -> None:
    harness = chain()
    runs = tuple(replace(r, state=RunState.PLANNED) if r.wire == "W32" else r for r in harness.runs)
    half = replace(harness, runs=runs)
    assert "P3-3" not in wire_contacts(half, half.buses[0])[0]
    assert "P3-3" in wires_seen(half, half.buses[0])[0]
