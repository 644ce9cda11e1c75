"""The resistor network, against values computed by hand, published ones, and a plain second solver."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from model_bench import shipped
from small_benches import ALL_IN, chain

from benchcheck.harness.circuit import (
    BRIDGE_LENGTH_M,
    CONTACT_OHM,
    Circuit,
    Edge,
    circuit_of,
    moved,
    run_ohm,
)
from benchcheck.harness.model import Part, PartKind, PathKind, Role, Run, RunState, UnitPath
from benchcheck.words.bench_state import BenchState

# --- by hand -----------------------------------------------------------------------------------------------------


def circuit(*edges: tuple[str, str, str, float]) -> Circuit:
    return Circuit(Edge(*edge) for edge in edges)


def test_series_and_parallel() -> None:
    net = circuit(("r1", "a", "b", 3.0), ("r2", "b", "c", 5.0), ("r3", "a", "c", 8.0))
    assert net.ohms("a", "c") == pytest.approx(4.0)  # 8 beside 3 + 5
    assert net.ohms("a", "b") == pytest.approx(3 * 13 / 16)
    assert net.ohms("c", "a") == pytest.approx(net.ohms("a", "c"))


def test_nothing_between_is_infinite_and_a_contact_to_itself_is_nothing() -> None:
    net = circuit(("r1", "a", "b", 3.0), ("r2", "c", "d", 5.0))
    assert math.isinf(net.ohms("a", "c"))
    assert math.isinf(net.ohms("a", "nowhere"))
    assert math.isinf(net.ohms("nowhere", "elsewhere"))
    assert net.ohms("a", "a") == 0.0
    assert net.component("a") == {"a", "b"}
    assert net.component("nowhere") == {"nowhere"}


def test_a_balanced_bridge_does_not_see_its_middle() -> None:
    """Wheatstone: with r1/r2 = r3/r4 no current flows in the middle, whatever is there."""
    for middle in (0.01, 1.0, 1e6):
        net = circuit(
            ("r1", "top", "left", 10.0),
            ("r2", "left", "bottom", 20.0),
            ("r3", "top", "right", 30.0),
            ("r4", "right", "bottom", 60.0),
            ("r5", "left", "right", middle),
        )
        assert net.ohms("top", "bottom") == pytest.approx(30 * 90 / 120, rel=1e-6)


def test_an_unbalanced_bridge() -> None:
    """By delta to star, by hand. The delta top-left-right has 1 (top-left), 2 (top-right), 3 (left-right) and the sum
    6; its star has 1/3 at the top, 1/2 on the left and 1 on the right. Left then needs 4, right 5 more to the bottom:
    1/3 + 4.5 beside 6 = 1/3 + 27/10.5 = 2.904762."""
    net = circuit(
        ("a", "top", "left", 1.0),
        ("b", "top", "right", 2.0),
        ("c", "left", "right", 3.0),
        ("d", "left", "bottom", 4.0),
        ("e", "right", "bottom", 5.0),
    )
    assert net.ohms("top", "bottom") == pytest.approx(1 / 3 + 4.5 * 6 / 10.5)


def test_the_cube_of_twelve_resistors() -> None:
    """A textbook classic (from memory): 12 resistors of r along a cube: 5/6 r across it, 3/4 r over a face, 7/12 r
    along an edge."""
    corners = [f"{i:03b}" for i in range(8)]
    edges = [
        Edge(f"{a}{b}", a, b, 1.0)
        for a in corners
        for b in corners
        if a < b and sum(x != y for x, y in zip(a, b, strict=True)) == 1
    ]
    net = Circuit(edges)
    assert len(net.edges) == 12
    assert net.ohms("000", "111") == pytest.approx(5 / 6)
    assert net.ohms("000", "011") == pytest.approx(3 / 4)
    assert net.ohms("000", "001") == pytest.approx(7 / 12)


# --- CAN buses: published values -----------------------------------------------------------------------------------

# A truck builder's text on J1939 (a secondary page) gives about 60 for two terminators and about 120 for one
# missing; three in parallel are 120/3, four 120/4, by calculation.
TERMINATORS = {1: 120.0, 2: 60.0, 3: 40.0, 4: 30.0}


@pytest.mark.parametrize(("count", "ohm"), TERMINATORS.items())
def test_terminators_across_a_bus(count: int, ohm: float) -> None:
    net = Circuit(Edge(f"t{n}", "h", "l", 120.0) for n in range(count))
    assert net.ohms("h", "l") == pytest.approx(ohm)


@pytest.mark.parametrize(("nodes", "input_ohm", "ohm"), [(30, 20e3, 55.05), (10, 30e3, 58.82)])
def test_node_inputs_lower_the_reading(nodes: int, input_ohm: float, ohm: float) -> None:
    """30 nodes of 20 kohm (the figure of a CiA calculation, a secondary page) beside 60 ohm, 10 of 30 kohm: computed."""
    net = Circuit(
        [Edge("t1", "h", "l", 120.0), Edge("t2", "h", "l", 120.0)]
        + [Edge(f"n{n}", "h", "l", input_ohm) for n in range(nodes)]
    )
    assert net.ohms("h", "l") == pytest.approx(ohm, abs=0.005)


def test_the_far_terminator_lies_behind_the_wire() -> None:
    """40 m of 70 mohm/m (CiA 303-1's figure for a bus of up to 40 m, a secondary page): 120 beside 125.6 = 61.37."""
    wire = 40 * 0.070
    net = circuit(
        ("near", "h1", "l1", 120.0), ("far", "h2", "l2", 120.0), ("h", "h1", "h2", wire), ("l", "l1", "l2", wire)
    )
    assert net.ohms("h1", "l1") == pytest.approx(61.37, abs=0.005)
    assert net.ohms("h2", "l2") == pytest.approx(61.37, abs=0.005)


# --- with and without ----------------------------------------------------------------------------------------------


def test_without_a_resistor_beside_another_path() -> None:
    net = circuit(("w1", "a", "b", 0.05), ("w2", "a", "b", 0.07))
    assert net.ohms_without("w1", "a", "b") == pytest.approx(0.07)
    assert net.ohms_without("w2", "a", "b") == pytest.approx(0.05)
    assert net.ohms_without("none", "a", "b") == net.ohms("a", "b")


def test_without_the_only_path_nothing_is_left() -> None:
    net = circuit(("w1", "a", "b", 0.05), ("w2", "b", "c", 0.05))
    assert math.isinf(net.ohms_without("w1", "a", "b"))
    assert math.isinf(net.ohms_without("w1", "b", "a"))
    assert math.isinf(net.ohms_without("w1", "a", "c"))
    assert net.ohms_without("w1", "b", "c") == pytest.approx(0.05)


# --- against a plain second solver ---------------------------------------------------------------------------------

Network = list[tuple[int, int, float]]


@st.composite
def networks(draw: st.DrawFn) -> Network:
    count = draw(st.integers(2, 9))
    return draw(
        st.lists(
            st.tuples(
                st.integers(0, count - 1), st.integers(0, count - 1), st.floats(0.01, 1000.0, allow_subnormal=False)
            ),
            min_size=1,
            max_size=18,
        )
    )


def built(network: Network) -> Circuit:
    return Circuit(Edge(f"r{n}", str(a), str(b), ohm) for n, (a, b, ohm) in enumerate(network))


def independent_ohms(network: Network, a: int, b: int) -> float:
    """Resistance by an unlike way: one ampere in at a and out at b, least squares over the whole conductance matrix
    (no node grounded, no inverse); infinite where the currents do not come out."""
    size = max(max(i, j) for i, j, _ in network) + 1
    if a == b:
        return 0.0
    if max(a, b) >= size:
        return math.inf
    incidence = np.zeros((len(network), size))
    for row, (i, j, _) in enumerate(network):
        incidence[row, i] += 1
        incidence[row, j] -= 1
    matrix = incidence.T @ np.diag([1 / ohm for _, _, ohm in network]) @ incidence
    current = np.zeros(size)
    current[a], current[b] = 1.0, -1.0
    volts = np.linalg.lstsq(matrix, current, rcond=1e-12)[0]
    if np.abs(matrix @ volts - current).max() > 1e-6:
        return math.inf
    return float(volts[a] - volts[b])


@settings(max_examples=150, deadline=None)
@given(networks(), st.integers(0, 8), st.integers(0, 8))
def test_any_network_against_least_squares(network: Network, a: int, b: int) -> None:
    expected = independent_ohms(network, a, b)
    found = built(network).ohms(str(a), str(b))
    assert found == pytest.approx(expected, rel=1e-6, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(networks(), st.data())
def test_without_is_the_network_with_the_resistor_gone(network: Network, data: st.DataObject) -> None:
    number = data.draw(st.integers(0, len(network) - 1))
    a, b, _ = network[number]
    assume(a != b)
    net, name = built(network), f"r{number}"
    gone = net.altered(remove={name})
    assert net.ohms_without(name, str(a), str(b)) == pytest.approx(gone.ohms(str(a), str(b)), rel=1e-4)


@settings(max_examples=100, deadline=None)
@given(networks(), st.data())
def test_rayleigh_more_resistance_never_lowers_a_reading(network: Network, data: st.DataObject) -> None:
    """Rayleigh's monotonicity law: raise a resistor, or take it out, and no resistance falls; add one, and none rises."""
    number = data.draw(st.integers(0, len(network) - 1))
    i, j, ohm = network[number]
    nodes = sorted({str(n) for a, b, _ in network for n in (a, b)})
    a, b = data.draw(st.sampled_from(nodes)), data.draw(st.sampled_from(nodes))
    net = built(network)
    before = net.ohms(a, b)
    close = 1e-7 * (1 + (0 if math.isinf(before) else before))
    raised = net.altered(remove={f"r{number}"}, add=[Edge(f"r{number}", str(i), str(j), ohm * 10)])
    assert raised.ohms(a, b) >= before - close
    assert net.altered(remove={f"r{number}"}).ohms(a, b) >= before - close
    added = net.altered(add=[Edge("more", data.draw(st.sampled_from(nodes)), data.draw(st.sampled_from(nodes)), 1.0)])
    assert added.ohms(a, b) <= before + close


@settings(max_examples=60, deadline=None)
@given(networks())
def test_resistance_is_a_distance(network: Network) -> None:
    """Effective resistance is a metric: it keeps the triangle rule (Klein and Randic, 1993; from memory)."""
    net = built(network)
    nodes = sorted({str(n) for a, b, _ in network for n in (a, b)})[:5]
    for a in nodes:
        for b in nodes:
            for c in nodes:
                whole, way = net.ohms(a, c), net.ohms(a, b) + net.ohms(b, c)
                assert math.isinf(way) or whole <= way * (1 + 1e-9) + 1e-9


def test_foster_the_sum_over_all_resistors() -> None:
    """Foster's theorem (1949; from memory): the resistance across each resistor over its own value, summed over a
    joined network of n nodes, is n - 1. A check of a whole real harness at once."""
    harness = shipped("survey_launch")[0]
    net = circuit_of(harness)
    groups = {net.component(edge.a) for edge in net.edges.values()}
    nodes = sum(len(group) for group in groups)
    total = sum(net.ohms(edge.a, edge.b) / edge.ohm for edge in net.edges.values())
    assert len(net.edges) > 200
    assert total == pytest.approx(nodes - len(groups), rel=1e-6)


# --- changing a network ---------------------------------------------------------------------------------------------


def test_altered_leaves_the_first_alone() -> None:
    net = circuit(("w1", "a", "b", 1.0), ("w2", "b", "c", 1.0))
    assert net.ohms("a", "c") == pytest.approx(2.0)
    other = net.altered(remove={"w1"}, add=[Edge("x", "a", "c", 5.0)])
    assert other.ohms("a", "c") == pytest.approx(5.0)
    assert other.ohms("a", "b") == pytest.approx(6.0)
    assert net.ohms("a", "c") == pytest.approx(2.0)
    assert net.ohms("a", "b") == pytest.approx(1.0)


def test_moved_ends() -> None:
    net = circuit(("w1", "P1-1", "P2-1", 1.0), ("w2", "P1-2", "P2-2", 1.0))
    swapped = net.altered(move=lambda edge: moved(edge, {"P1-1": "P1-2", "P1-2": "P1-1"}))
    assert swapped.ohms("P1-2", "P2-1") == pytest.approx(1.0)
    assert swapped.ohms("P1-1", "P2-2") == pytest.approx(1.0)
    assert math.isinf(swapped.ohms("P1-1", "P2-1"))
    assert moved(Edge("w", "a", "b", 1.0), {"c": "d"}) == Edge("w", "a", "b", 1.0)


def test_edges_at_a_contact() -> None:
    net = circuit(("w1", "a", "b", 1.0), ("w2", "b", "c", 1.0))
    assert {edge.name for edge in net.edges_at("b")} == {"w1", "w2"}
    assert net.edges_at("nowhere") == ()


# --- a harness as a network -----------------------------------------------------------------------------------------

# AC 43.13-1B CHG 1, table 11-9: AWG 22 has at most 16.20 ohm per 1000 ft at 20 C
AWG_22_OHM_PER_M = 16.20 / 304.8


def test_the_resistance_of_a_run() -> None:
    run = Run("W1", "P1-1", "P2-1", Role.SIGNAL, 22, 10.0)
    assert run_ohm(run, 20.0) == pytest.approx(10 * AWG_22_OHM_PER_M + 2 * CONTACT_OHM)
    # copper by AC 43.13-1B: R goes with 234.5 + T, so 70 C is 304.5 / 254.5 of 20 C
    warm = run_ohm(run, 70.0) - 2 * CONTACT_OHM
    assert warm == pytest.approx(10 * AWG_22_OHM_PER_M * 304.5 / 254.5, rel=1e-3)


def test_a_run_without_gauge_or_length_gets_a_middling_one() -> None:
    bare = Run("W1", "P1-1", "P2-1", Role.SIGNAL)
    assert run_ohm(bare, 20.0) == pytest.approx(3.0 * AWG_22_OHM_PER_M + 2 * CONTACT_OHM)
    bridge = Run("B1", "P1-1", "P1-2", Role.BRIDGE)
    assert run_ohm(bridge, 20.0) == pytest.approx(BRIDGE_LENGTH_M * AWG_22_OHM_PER_M + 2 * CONTACT_OHM)


def test_a_floating_shield_joins_nothing() -> None:
    harness = shipped("starter")[0]
    net = circuit_of(harness)
    assert "S1" not in net.edges
    assert net.component("P2-ring") == {"P2-ring"}


def test_parts_in_and_out() -> None:
    harness = chain()
    assert circuit_of(harness).ohms("P100-1", "CB1-2") < 0.2
    pulled = circuit_of(harness, BenchState(opened=frozenset({"CB1"})))
    assert math.isinf(pulled.ohms("P100-1", "CB1-2"))
    assert "RT1" in pulled.edges


@pytest.mark.parametrize("kind", [PartKind.RELAY, PartKind.DIODE])
def test_what_conducts_in_one_state_only_is_taken_as_open(kind: PartKind) -> None:
    harness = chain()
    parts = (*harness.parts, Part("K1", kind, "P1-8", "P1-9", 0.1))
    assert math.isinf(circuit_of(replace(harness, parts=parts)).ohms("P1-8", "P1-9"))


def test_a_lifted_end_hangs_free() -> None:
    harness = chain()
    lug = "W21@GND1"
    net = circuit_of(harness, BenchState(lifted=frozenset({lug})))
    assert math.isinf(net.ohms("P1-2", "GND1"))
    assert net.ohms("P1-2", lug) == pytest.approx(run_ohm(harness.run("W21"), 20.0))  # type: ignore[arg-type]
    assert net.ohms("P2-2", "GND1") < 0.2


def test_a_unit_joins_its_pairs_only_when_it_is_in() -> None:
    harness = chain()
    out = circuit_of(harness)
    assert math.isinf(out.ohms("P9-1", "P3-3"))  # P1 and P2 are open: the bus ends there
    assert out.ohms("P9-1", "P9-2") == pytest.approx(120.0)
    assert math.isinf(out.ohms("P2-3", "P2-4"))
    whole = circuit_of(harness, ALL_IN)
    assert whole.ohms("P9-1", "P3-3") < 1.0
    # two terminators of 120 ohm with the wire between them
    assert whole.ohms("P9-1", "P9-2") == pytest.approx(60.0, abs=1.0)
    one_out = circuit_of(harness, BenchState(on_unit=frozenset({"P1", "P3"})))
    assert math.isinf(one_out.ohms("P9-1", "P3-3"))
    assert one_out.ohms("P9-1", "P2-3") < 1.0


def test_a_terminator_in_a_unit_that_a_bridge_enables() -> None:
    """The starter's receiver has one across contacts 6 and 7, on only with 8 and 9 bridged; its recorder always."""
    harness = shipped("starter")[0]
    both = BenchState(on_unit=frozenset({"P1", "P2"}))
    assert circuit_of(harness, both).ohms("P2-4", "P2-5") == pytest.approx(60.0, abs=1.0)
    unbridged = replace(harness, runs=tuple(run for run in harness.runs if run.wire != "B1"))
    assert circuit_of(unbridged, both).ohms("P2-4", "P2-5") == pytest.approx(120.0, abs=1.0)
    assert circuit_of(harness, BenchState(on_unit=frozenset({"P1"}))).ohms("P2-4", "P2-5") == pytest.approx(120, abs=1)
    assert math.isinf(circuit_of(harness).ohms("P2-4", "P2-5"))


def test_paths_without_a_value_get_a_usual_one() -> None:
    harness = chain()
    unit = harness.units["U1"]
    paths = (UnitPath(PathKind.TERMINATOR, "J1-3", "J1-4"), UnitPath(PathKind.INPUT, "J1-8", "J1-2"))
    bare = replace(unit, type=replace(unit.type, paths=paths))
    net = circuit_of(replace(harness, units={"U1": bare}), BenchState(on_unit=frozenset({"P1"})))
    assert net.ohms("P1-3", "P1-4") == pytest.approx(60.0, abs=0.5)  # beside RT1, with two metres of wire
    assert net.ohms("P1-8", "P1-2") == pytest.approx(40e3)


def test_case_ground_and_converters_are_no_resistors_here() -> None:
    harness = shipped("survey_launch")[0]
    every = frozenset(ref for unit in harness.units.values() for ref in unit.connectors.values())
    names = set(circuit_of(harness, BenchState(on_unit=every)).edges)
    assert not [name for name in names if ":converter:" in name or ":case_ground:" in name]


def test_a_planned_run_is_not_in_the_network() -> None:
    harness = chain()
    runs = tuple(replace(run, state=RunState.PLANNED) if run.wire == "W21" else run for run in harness.runs)
    net = circuit_of(replace(harness, runs=runs))
    assert "W21" not in net.edges
    assert math.isinf(net.ohms("P1-2", "GND1"))


def test_a_planned_bridge_enables_nothing() -> None:
    harness = shipped("starter")[0]
    runs = tuple(replace(r, state=RunState.PLANNED) if r.wire == "B1" else r for r in harness.runs)
    both = BenchState(on_unit=frozenset({"P1", "P2"}))
    assert circuit_of(replace(harness, runs=runs), both).ohms("P2-4", "P2-5") == pytest.approx(120.0, abs=1.0)
