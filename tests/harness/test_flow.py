"""Currents in networks of resistors: sums where there is one way, Kirchhoff where there are several."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness import flow as room
from benchcheck.harness.circuit import Circuit
from benchcheck.harness.circuit import Edge as Resistor
from benchcheck.harness.flow import Edge, Flow


def test_a_tree_adds_up() -> None:
    edges = [Edge("S", "J", 0.1), Edge("J", "A", 0.2), Edge("B", "J", 0.3), Edge("J", "C", 1.0)]
    found = Flow(edges, {"S": 3.0, "A": -1.0, "B": -2.0}, ["S"])
    assert found.amps == [3.0, 1.0, -2.0, 0.0]
    assert found.volts("S", "A") == pytest.approx(0.3 + 0.2)
    assert found.volts("S", "B") == pytest.approx(0.3 + 0.6)
    assert found.way("S", "B") == (0, 2)
    assert found.way("A", "B") == (1, 2)
    assert (found.steps("S"), found.steps("B")) == (0, 2)


def test_doubled_wires_share() -> None:
    edges = [Edge("S", "A", 0.1), Edge("A", "S", 0.3), Edge("A", "B", 0.5)]
    found = Flow(edges, {"S": 4.0, "B": -4.0}, ["S"])
    assert found.amps == pytest.approx([3.0, -1.0, 4.0])
    assert found.volts("S", "B") == pytest.approx(0.3 + 2.0)


def test_what_is_not_joined_has_nothing() -> None:
    found = Flow([Edge("A", "B", 1.0), Edge("C", "C", 1.0)], {}, ["A"])
    assert found.amps == [0.0, 0.0]
    assert found.way("A", "C") == ()
    assert found.volts("A", "C") == 0.0


networks = st.lists(
    st.tuples(st.integers(0, 12), st.integers(0, 12), st.floats(0.01, 10)), min_size=1, max_size=30
).map(lambda rows: [Edge("N0", f"N{n}", 1.0) for n in range(1, 13)] + [Edge(f"N{a}", f"N{b}", r) for a, b, r in rows])


def balanced(edges: Sequence[Edge], found: Flow, entering: Mapping[str, float]) -> None:
    left = dict(entering)
    for edge, amps in zip(edges, found.amps, strict=True):
        if edge.a != edge.b:
            left[edge.a] = left.get(edge.a, 0.0) - amps
            left[edge.b] = left.get(edge.b, 0.0) + amps
            assert found.volts(edge.a, edge.b) == pytest.approx(amps * edge.ohm, abs=1e-6)
    assert all(abs(amps) < 1e-6 for amps in left.values())


@given(networks, st.integers(1, 12), st.booleans())
@settings(max_examples=60, deadline=None)
def test_any_network_obeys_kirchhoff_and_agrees_with_the_resistor_network(
    edges: list[Edge], to: int, stepwise: bool
) -> None:
    entering = {"N0": 2.0, f"N{to}": -2.0}
    most, room.MOST_AT_ONCE = room.MOST_AT_ONCE, 1 if stepwise else room.MOST_AT_ONCE
    try:
        found = Flow(edges, entering, ["N0"])
    finally:
        room.MOST_AT_ONCE = most
    balanced(edges, found, entering)
    circuit = Circuit(Resistor(str(number), e.a, e.b, e.ohm) for number, e in enumerate(edges) if e.a != e.b)
    assert found.volts("N0", f"N{to}") == pytest.approx(2.0 * circuit.ohms("N0", f"N{to}"), rel=1e-5)
