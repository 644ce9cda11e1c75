"""Shorting plugs, coded plugs and clips on the simulated bench."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from model_bench import shipped

from benchcheck.harness.circuit import circuit_of
from benchcheck.harness.plug import code_ohm
from benchcheck.simulator.faults import Short
from benchcheck.simulator.hands import parse_state
from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.plugs import E48
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import join
from benchcheck.words.errors import InputError

HARNESS = shipped("survey_launch")[0]


def model(state: BenchState, *faults: Short, seed: int = 0) -> BenchModel:
    made = BenchModel(HARNESS, faults, seed=seed)
    made.set_state(state)
    return made


def test_the_resistors_are_the_standard_values() -> None:
    """IEC 60063, series E48, as a list from memory, against the way in which the values are computed."""
    assert [code_ohm(index) for index in range(48)] == list(E48)
    assert [code_ohm(48 + index) for index in range(48)] == [10 * value for value in E48]


def test_a_shorting_plug_joins_every_contact_of_its_connector_to_chassis() -> None:
    made = model(BenchState(plugs=frozenset({"P192"})))
    assert made.true_ohms("P111-14", HARNESS.chassis) < 1.0  # the far end of P192-3
    assert made.true_ohms("P100-A", HARNESS.chassis) > 1e6
    made.set_state(ALL_OPEN)  # the network of another state is not the one that was kept
    assert made.true_ohms("P111-14", HARNESS.chassis) > 1e6


def test_a_clip_joins_one_contact() -> None:
    made = model(BenchState(links=frozenset({"P192-3"})))
    assert made.true_ohms("P192-3", HARNESS.chassis) < 0.1
    assert made.true_ohms("P192-4", HARNESS.chassis) > 1e6


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_coded_plug_reads_its_resistor_from_the_far_end(seed: int) -> None:
    made = model(BenchState(coded=frozenset({"P192"})), seed=seed)
    for index, pin in enumerate(HARNESS.connectors["P192"].contacts[2:6], 2):
        assert made.true_ohms(join("P192", pin), HARNESS.chassis) == pytest.approx(code_ohm(index), rel=0.0091)
    assert made.true_ohms("P111-14", HARNESS.chassis) == pytest.approx(code_ohm(2), rel=0.011)


@pytest.mark.parametrize(
    "state",
    [
        BenchState(plugs=frozenset({"P192"}), links=frozenset({"P100-ring", "P100-A"})),
        BenchState(coded=frozenset({"P103"})),
        BenchState(plugs=frozenset({"P101", "P102"}), coded=frozenset({"P113"})),
    ],
)
def test_both_networks_agree_with_plugs_on(state: BenchState) -> None:
    """The one that predicts and the one of the model are written apart."""
    made, circuit = model(state), circuit_of(HARNESS, state)
    for run in HARNESS.runs[::7]:
        planned, read = circuit.ohms(run.a, HARNESS.chassis), made.true_ohms(run.a, HARNESS.chassis)
        assert (read > 1e8) if planned > 1e8 else read == pytest.approx(planned, rel=0.02, abs=0.25)


def test_a_short_shows_against_what_a_plug_joins() -> None:
    state = BenchState(plugs=frozenset({"P192"}))
    assert model(state, Short(("P192-3", "P103-5"), 0.5)).true_ohms("P103-5", HARNESS.chassis) < 1.0
    assert model(state).true_ohms("P103-5", HARNESS.chassis) > 1e6


def test_what_is_behind_a_plug_is_not_reached() -> None:
    for state in (BenchState(plugs=frozenset({"P192"})), BenchState(coded=frozenset({"P192"}))):
        made = model(state)
        with pytest.raises(InputError, match="plug"):
            made.ohms("P192-3", HARNESS.chassis)
        made.ohms("P192-shell", HARNESS.chassis)


@pytest.mark.parametrize(
    "state",
    [
        BenchState(plugs=frozenset({"P999"})),
        BenchState(plugs=frozenset({"GND1"})),
        BenchState(coded=frozenset({"SP1"})),
        BenchState(links=frozenset({"P192-99"})),
        BenchState(plugs=frozenset({"P101"}), on_unit=frozenset({"P101"})),
        BenchState(plugs=frozenset({"P101"}), coded=frozenset({"P101"})),
        BenchState(coded=frozenset({"P101"}), breakout=frozenset({"P101"})),
        BenchState(links=frozenset({"P101-4"}), on_unit=frozenset({"P101"})),
    ],
)
def test_a_state_that_cannot_be_is_refused(state: BenchState) -> None:
    made = model(ALL_OPEN)
    with pytest.raises(InputError):
        made.set_state(state)
    assert made.state == ALL_OPEN


def test_the_hands_take_plugs() -> None:
    state = BenchState(plugs=frozenset({"P192"}), links=frozenset({"P100-A"}), coded=frozenset({"P101"}))
    assert parse_state(json.dumps(state.to_json())) == state
    assert parse_state(json.dumps(replace(state, supply_on=True).to_json())) == state
