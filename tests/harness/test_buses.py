"""What of a harness belongs to a CAN bus."""

from __future__ import annotations

from dataclasses import replace

from model_bench import shipped
from sample_profile import sample
from small_benches import chain

from benchcheck.harness.buses import Pair, pairs, terminators, wire_contacts
from benchcheck.harness.model import Part, PartKind


def test_the_wires_of_a_chain_go_through_the_units() -> None:
    harness = chain()
    high, low = wire_contacts(harness, harness.buses[0])
    assert high == {"P9-1", "P1-3", "P1-5", "P2-3", "P2-5", "P3-3"}
    assert low == {"P9-2", "P1-4", "P1-6", "P2-4", "P2-6", "P3-4"}


def test_an_in_and_an_out_pair_at_one_connector_are_two_places() -> None:
    harness = chain()
    assert pairs(harness, harness.buses[0]) == (
        Pair("P1", "P1-3", "P1-4"),
        Pair("P1", "P1-5", "P1-6"),
        Pair("P2", "P2-3", "P2-4"),
        Pair("P2", "P2-5", "P2-6"),
        Pair("P3", "P3-3", "P3-4"),
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
