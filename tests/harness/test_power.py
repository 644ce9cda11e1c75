"""Feeds: which contact wants what, in which states power is proved, and what a unit draws at the supply."""

from __future__ import annotations

from dataclasses import replace

import pytest
from model_bench import shipped
from sample_profile import sample
from small_benches import chain

from benchcheck.harness import power
from benchcheck.harness.circuit import circuit_of
from benchcheck.harness.model import Role
from benchcheck.words.bench_state import BenchState


def test_the_feed_that_reaches_a_contact() -> None:
    fed = power.feeds_of_contacts(sample())
    assert fed["P1-1"].name == "24V"
    assert fed["P3-A"].name == "24V"
    assert fed["P2-1"].name == "12V"
    assert "P1-2" not in fed  # a ground
    assert "P1-3" not in fed


def test_the_bench_supply_drives_the_feed_without_a_converter() -> None:
    harness = sample()
    assert power.main_feed(harness) is harness.feeds[0]
    assert power.main_feed(replace(harness, feeds=harness.feeds[1:])) is None
    assert power.is_converter(harness.units["CONV"])
    assert not power.is_converter(harness.units["NAV"])


def test_every_power_contact_stands_against_a_ground_contact() -> None:
    pairs = {(p.power, p.ground): p for p in power.power_pairs(sample())}
    assert set(pairs) == {("P1-1", "P1-2"), ("P2-1", "P2-9"), ("P3-A", "P3-B"), ("P3-A", "P3-D")}
    assert pairs["P2-1", "P2-9"].feed.name == "12V"
    assert pairs["P2-1", "P2-9"].nominal_v == 12.0
    assert pairs["P2-1", "P2-9"].load_a == 1.0
    # the converter's output is what it makes: it is asked of nobody
    assert not [p for p in pairs.values() if p.power == "P3-C"]


def test_each_feed_and_ground_contact_of_each_unit_is_touched() -> None:
    harness = shipped("survey_launch")[0]
    pairs = power.power_pairs(harness)
    touched = {contact for pair in pairs for contact in (pair.power, pair.ground)}
    wired = {end for run in harness.runs for end in run.ends}
    for contact in wired:
        entry = harness.unit_contact(contact)
        if entry is not None and entry.role in (Role.POWER, Role.GROUND) and contact != "P115-5":
            assert contact in touched, contact


def test_leads_stay_in_one_connector_where_they_can() -> None:
    for pair in power.power_pairs(shipped("survey_launch")[0]):
        if pair.unit != "SONAR":  # fed through one connector only, as all others are
            assert pair.power.split("-")[0] == pair.ground.split("-")[0]


def test_feeds_are_proved_with_units_out_but_for_the_converter() -> None:
    harness = sample()
    main, made = harness.feeds
    assert power.feed_state(harness, main) == BenchState(supply_on=True)
    assert power.feed_state(harness, made) == BenchState(frozenset({"P3"}), frozenset({"P3"}), supply_on=True)


def test_converters_go_in_first_then_the_profile_s_order() -> None:
    assert power.plug_order(sample()) == ("CONV", "NAV", "LOG")


def test_breakout_leads_where_a_plugged_connector_is_still_read() -> None:
    harness = sample()
    state = power.units_in(harness, ("CONV", "LOG"))
    assert state.on_unit == {"P2", "P3"}
    assert state.breakout == {"P2", "P3"}  # the tapped connector, and the converter's output
    assert state.supply_on
    assert power.units_in(harness, ("NAV",)).breakout == frozenset()
    assert power.units_in(harness, ()) == BenchState(supply_on=True)


def test_what_a_converter_s_load_draws_at_the_supply() -> None:
    """Iin = Iout x Vout / (efficiency x Vin), by calculation; 28 V 2 A at 90 % from 14 V = 4.44 A."""
    harness = sample()
    main, made = harness.feeds
    pair = power.PowerPair("LOG", "P2-1", "P2-9", made, 12.0, 1.0)
    assert power.supply_share(harness, pair) == pytest.approx(12.0 / (0.9 * 24.0))
    step_up = replace(harness, feeds=(replace(main, nominal_v=14.0), replace(made, nominal_v=28.0)))
    pair = power.PowerPair("LOG", "P2-1", "P2-9", step_up.feeds[1], 28.0, 2.0)
    assert power.supply_share(step_up, pair) == pytest.approx(4.44, abs=0.005)
    direct = power.PowerPair("NAV", "P1-1", "P1-2", main, 24.0, 0.5)
    assert power.supply_share(harness, direct) == 0.5


def test_the_way_there_and_back() -> None:
    harness = chain()
    pair = next(p for p in power.power_pairs(harness) if p.unit == "U1")
    # four runs of 1 m AWG 22 (16.20 ohm per 1000 ft: AC 43.13-1B table 11-9), eight crimps, the protector
    expected = 4 * 16.20 / 304.8 + 8 * 0.003 + 0.02
    assert power.path_ohm(circuit_of(harness), pair) == pytest.approx(expected, rel=1e-3)


def test_the_current_limit_follows_what_is_plugged() -> None:
    harness = shipped("survey_launch")[0]
    order = power.plug_order(harness)
    limits = [power.current_limit_a(harness, power.units_in(harness, order[:n])) for n in range(len(order) + 1)]
    assert limits == sorted(limits)
    assert 0 < limits[0] < limits[-1] <= 10.0  # the profile's own limit
    total = sum(power.supply_share(harness, p) for p in {p.power: p for p in power.power_pairs(harness)}.values())
    assert limits[-1] > total  # all units in run without being held back


def test_a_harness_without_a_supply_has_no_limit() -> None:
    assert power.current_limit_a(replace(sample(), feeds=()), BenchState()) == 0.0
