"""The simulator's circuit solver against networks worked out by hand and by others."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.simulator.circuit import LEAK_OHM, METER_INPUT_OHM, Network, Source


def network(*resistors: tuple[str, str, float], ground: str = "gnd") -> Network:
    made = Network(ground)
    for a, b, ohm in resistors:
        made.add_resistor(a, b, ohm)
    return made


@pytest.mark.parametrize(("count", "ohm"), [(1, 120.0), (2, 60.0), (3, 40.0), (4, 30.0)])
def test_terminators_in_parallel(count: int, ohm: float) -> None:
    # CAN termination readings of 120, 60, 40, 30 ohm: truck builder's and car makers' workshop texts on J1939
    # (60, 120, 40 read in secondary sources); 30 is 120/4
    assert network(*[("h", "l", 120.0)] * count).ohms("h", "l") == pytest.approx(ohm)


def test_far_terminator_through_40_m_of_cable() -> None:
    # CiA 303-1 cable table, 70 mohm/m up to 40 m: 120 || (120 + 5.6) = 61.37 ohm (derived)
    made = network(("h", "l", 120.0), ("h", "far_h", 2.8), ("far_h", "far_l", 120.0), ("far_l", "l", 2.8))
    assert made.ohms("h", "l") == pytest.approx(61.37, abs=0.005)


@pytest.mark.parametrize(("nodes", "each", "ohm"), [(30, 20e3, 55.05), (10, 30e3, 58.82)])
def test_node_inputs_across_a_terminated_bus(nodes: int, each: float, ohm: float) -> None:
    # node input of 20 kohm as CiA's own length calculation takes it; values derived from 60 ohm in parallel
    made = network(("h", "l", 120.0), ("l", "h", 120.0), *[("h", "l", each)] * nodes)
    assert made.ohms("h", "l") == pytest.approx(ohm, abs=0.005)


def test_cube_of_equal_resistors() -> None:
    # the cube of twelve equal resistors: 7/12, 3/4 and 5/6 of one along edge, face and body diagonal
    # (a classic of circuit textbooks; from memory)
    corners = list(itertools.product((0, 1), repeat=3))
    edges = [
        (str(a), str(b), 1.0)
        for a, b in itertools.combinations(corners, 2)
        if sum(x != y for x, y in zip(a, b, strict=True)) == 1
    ]
    cube = network(*edges)
    assert cube.ohms("(0, 0, 0)", "(0, 0, 1)") == pytest.approx(7 / 12)
    assert cube.ohms("(0, 0, 0)", "(0, 1, 1)") == pytest.approx(3 / 4)
    assert cube.ohms("(0, 0, 0)", "(1, 1, 1)") == pytest.approx(5 / 6)


def test_milliohms_beside_megohms_keep_their_digits() -> None:
    made = network(("a", "b", 0.002), ("b", "c", 0.003), ("c", "d", 10e6), ("d", "a", 30e3))
    assert made.ohms("a", "c") == pytest.approx(0.005, rel=1e-6)
    assert made.ohms("d", "a") == pytest.approx(1 / (1 / 30e3 + 1 / 10e6), rel=1e-6)


def test_pieces_have_only_insulation_between_them() -> None:
    made = network(("a", "b", 1.0), ("c", "d", 1.0), ("gnd", "e", 1.0))
    assert not made.together("a", "c")
    assert made.ohms("a", "c") == pytest.approx(LEAK_OHM)  # two pieces of two contacts each
    assert made.ohms("a", "gnd") == pytest.approx(LEAK_OHM / 2)
    assert made.ohms("a", "gnd") > 500e6


def test_divider_and_the_meter_across_it() -> None:
    made = network(("plus", "mid", 1e6), ("mid", "gnd", 1e6), ("plus", "gnd", 0.01))
    volts = made.potentials([Source("plus", "gnd", 10 / 0.01)])
    assert volts["plus"] == pytest.approx(10.0, rel=1e-6)
    assert volts["mid"] == pytest.approx(5.0, rel=1e-6)
    # source resistance 0.5 Mohm into 10 Mohm: the meter reads 10/10.5 of it
    assert made.meter_share("mid", "gnd") == pytest.approx(METER_INPUT_OHM / (METER_INPUT_OHM + 0.5e6), rel=1e-6)


def test_a_source_without_a_way_back_drives_nothing() -> None:
    made = network(("a", "b", 1.0), ("c", "d", 1.0))
    assert made.potentials([Source("a", "c", 5.0)])["a"] == 0.0


def test_a_floating_piece_lies_evenly_about_ground() -> None:
    made = network(("a", "b", 2.0), ("gnd", "x", 1.0))
    volts = made.potentials([Source("a", "b", 3.0)])
    assert (volts["a"], volts["b"], volts["gnd"]) == pytest.approx((3.0, -3.0, 0.0))


def test_resistors_can_not_be_added_once_solved() -> None:
    made = network(("a", "b", 1.0))
    assert made.ohms("a", "b") == 1.0
    with pytest.raises(RuntimeError):
        made.add_resistor("a", "b", 1.0)
    with pytest.raises(ValueError, match="resistor of 0"):
        network(("a", "b", 0.0))


def star_mesh(edges: list[tuple[int, int, float]], a: int, b: int, nodes: int) -> float:
    """Resistance by removing one node after the other (star-mesh transform): a way that shares nothing with ours."""
    siemens: dict[frozenset[int], float] = {}
    for one, other, ohm in edges:
        if one != other:
            key = frozenset((one, other))
            siemens[key] = siemens.get(key, 0.0) + 1 / ohm
    for gone in set(range(nodes)) - {a, b}:
        star = {next(iter(key - {gone})): g for key, g in siemens.items() if gone in key}
        siemens = {key: g for key, g in siemens.items() if gone not in key}
        total = sum(star.values())
        for one, other in itertools.combinations(star, 2):
            key = frozenset((one, other))
            siemens[key] = siemens.get(key, 0.0) + star[one] * star[other] / total
    found = siemens.get(frozenset((a, b)))
    return 1 / found if found else float("inf")


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7), st.floats(0.01, 1e5)), min_size=1, max_size=20),
    st.tuples(st.integers(0, 7), st.integers(0, 7)).filter(lambda pair: pair[0] != pair[1]),
)
def test_any_network_agrees_with_star_mesh(edges: list[tuple[int, int, float]], pair: tuple[int, int]) -> None:
    made = Network("gnd")
    for node in range(8):
        made.add_node(str(node))
    for one, other, ohm in edges:
        made.add_resistor(str(one), str(other), ohm)
    a, b = pair
    expected = star_mesh(edges, a, b, 8)
    if expected == float("inf"):
        assert made.ohms(str(a), str(b)) > 500e6
    else:
        assert made.ohms(str(a), str(b)) == pytest.approx(expected, rel=1e-6)
