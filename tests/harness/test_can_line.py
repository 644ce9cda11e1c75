"""The line of a CAN bus: its ends, its length, what branches off it, and the published limits of either."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness.can_line import LONGEST_M, Line, Piece, line_of, longest_branch_m, longest_line_m
from benchcheck.harness.model import Bus

BUS = Bus("can1", 1_000_000, ("A",), "P1")
UNITS = {"PA-1": "A", "PB-1": "B", "PB-2": "B", "PC-1": "C", "PD-1": "D"}


def laid_out(*pieces: tuple[str, str, float], terminated: tuple[str, ...] = ()) -> Line:
    contacts = {end for a, b, _ in pieces for end in (a, b)}
    return line_of(contacts, [Piece(a, b, metres, "W") for a, b, metres in pieces], UNITS, terminated)


def test_stub_rule() -> None:
    # ISO 11898-2 as quoted by a transceiver maker: 0.3 m at 1 Mbit/s
    assert longest_branch_m(BUS) == pytest.approx(0.3)
    assert longest_branch_m(replace(BUS, bitrate=250_000)) == pytest.approx(1.2)
    # ECSS glossary after CiA 301, worked example: 50 ns edges -> critical length 5 m -> longest stub 1.67 m
    assert longest_branch_m(replace(BUS, bitrate=50_000)) == pytest.approx(1.67, abs=0.005)
    assert longest_branch_m(replace(BUS, max_stub_m=6.0)) == 6.0


@pytest.mark.parametrize(
    ("bitrate", "metres"),
    # a fieldbus maker's page: length by bit rate
    [(1_000_000, 40), (500_000, 100), (250_000, 250), (125_000, 500), (50_000, 1000), (20_000, 2500), (10_000, 5000)],
)
def test_length_by_bit_rate(bitrate: int, metres: float) -> None:
    assert longest_line_m(bitrate) == metres
    # between two rows the shorter one counts
    assert longest_line_m(bitrate - 1) == metres


def test_a_rate_beyond_the_table_gets_its_ends() -> None:
    assert longest_line_m(5_000) == LONGEST_M[10_000]
    assert longest_line_m(2_000_000) == LONGEST_M[1_000_000]


def test_a_chain_by_double_contact_and_by_a_path_inside() -> None:
    line = laid_out(("PA-1", "PB-1", 2.0), ("PB-1", "PB-2", 0.0), ("PB-2", "PC-1", 3.0), ("PC-1", "PD-1", 1.0))
    assert set(line.ends) == {"PA-1", "PD-1"}
    assert line.length_m == 6.0
    assert line.branches == ()
    order = sorted(line.unit_m, key=lambda unit: line.unit_m[unit])
    assert order in (["A", "B", "C", "D"], ["D", "C", "B", "A"])


def test_a_stub_at_a_splice() -> None:
    line = laid_out(("PA-1", "SP1", 2.0), ("SP1", "PC-1", 2.0), ("SP1", "PB-1", 0.2))
    assert set(line.ends) == {"PA-1", "PC-1"}
    (branch,) = line.branches
    assert (branch.joint, branch.tip, branch.length_m, branch.units, branch.forks) == (
        "SP1",
        "PB-1",
        0.2,
        ("B",),
        False,
    )
    assert line.unit_m["B"] == 2.0 or line.unit_m["B"] == line.length_m - 2.0


def test_terminated_ends_are_the_ends_of_the_line() -> None:
    pieces = (("PA-1", "SP1", 1.0), ("SP1", "PC-1", 1.0), ("SP1", "PB-1", 5.0))
    line = laid_out(*pieces, terminated=("PA-1", "PC-1"))
    assert set(line.ends) == {"PA-1", "PC-1"}
    assert line.branches[0].length_m == 5.0
    # with one, the other end is the farthest
    assert set(laid_out(*pieces, terminated=("PA-1",)).ends) == {"PA-1", "PB-1"}


def test_a_branch_with_two_units_and_one_that_forks() -> None:
    base = (("PA-1", "SP1", 9.0), ("SP1", "SP9", 9.0))
    line = laid_out(*base, ("SP1", "PB-1", 0.1), ("PB-1", "PC-1", 0.1))
    assert line.branches[0].units == ("B", "C")
    line = laid_out(*base, ("SP1", "SP2", 0.1), ("SP2", "PB-1", 0.1), ("SP2", "PC-1", 0.1))
    assert line.branches[0].forks


def test_a_ring() -> None:
    line = laid_out(("PA-1", "PB-1", 1.0), ("PB-1", "PC-1", 1.0), ("PC-1", "PA-1", 1.0), ("PC-1", "PD-1", 1.0))
    assert line.ring == ("PA-1", "PB-1", "PC-1")
    assert line.ends == ()
    # two runs between the same contacts are no ring: a rule of their own speaks of them
    assert laid_out(("PA-1", "PB-1", 1.0), ("PB-1", "PA-1", 1.0)).ring == ()


def test_nothing_and_a_single_contact() -> None:
    assert line_of((), (), UNITS).ends == ()
    assert line_of(("PA-1",), (), UNITS).ends == ("PA-1",)


@given(st.lists(st.tuples(st.integers(0, 30), st.floats(0, 10)), max_size=30))
@settings(max_examples=60, deadline=None)
def test_every_tree_is_a_line_and_its_branches(parents: list[tuple[int, float]]) -> None:
    """Whatever isn't a ring: no path between two contacts is longer than the line, and nothing gets lost."""
    pieces = [(f"N{min(parent, number)}", f"N{number + 1}", metres) for number, (parent, metres) in enumerate(parents)]
    units = {f"N{number}": f"U{number}" for number in range(len(parents) + 1)}
    contacts = set(units)
    line = line_of(contacts, [Piece(a, b, metres, "W") for a, b, metres in pieces], units)
    assert line.ring == ()
    assert set(line.unit_m) == set(units.values())
    for branch in line.branches:
        at_m = line.at_m[branch.joint]
        assert branch.length_m <= min(at_m, line.length_m - at_m) + 1e-9
