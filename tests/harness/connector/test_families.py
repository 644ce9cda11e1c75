"""Connector families: published row counts, and who is next to whom."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness.connector.families import FAMILIES, neighbours

# Published table of D-subminiature sizes (shells E to D: standard, high and double density)
PUBLISHED_ROWS = {
    "dsub9": [5, 4],
    "dsub15": [8, 7],
    "dsub25": [13, 12],
    "dsub37": [19, 18],
    "dsub50": [17, 16, 17],
    "hd15": [5, 5, 5],
    "hd26": [9, 9, 8],
    "hd44": [15, 15, 14],
    "hd62": [21, 21, 20],
    "hd78": [20, 19, 20, 19],
    "dd19": [6, 7, 6],
    "dd31": [10, 11, 10],
    "dd52": [17, 18, 17],
    "dd79": [26, 27, 26],
    "dd100": [26, 25, 24, 25],
}


@pytest.mark.parametrize("name", PUBLISHED_ROWS)
def test_rows_are_the_published_ones(name: str) -> None:
    family = FAMILIES[name]
    assert [len(row) for row in family.rows] == PUBLISHED_ROWS[name]
    # the size in the name is the number of contacts
    assert len(family.contacts) == int(name.lstrip("dsubh"))
    assert family.has_shell
    assert family.has_gender


def test_numbering_of_25_ways() -> None:
    # published: 25-way 1->13 in the wide row, 14->25 in the other; 9-way 1->5 and 6->9
    assert [row[0] for row in FAMILIES["dsub25"].rows] == ["1", "14"]
    assert [row[-1] for row in FAMILIES["dsub25"].rows] == ["13", "25"]
    assert FAMILIES["dsub9"].rows == (("1", "2", "3", "4", "5"), ("6", "7", "8", "9"))


def test_other_families() -> None:
    assert FAMILIES["coax"].contacts == ("centre",)
    for name in ("stud", "splice"):
        assert FAMILIES[name].single
        assert not FAMILIES[name].has_shell
    assert FAMILIES["circular"].given_rows
    assert FAMILIES["terminals"].given_rows
    assert not FAMILIES["terminals"].has_shell


def test_neighbours_in_nine_ways() -> None:
    # rows are shifted half a pitch (published): contact i of the long row lies between i-1 and i of the short one
    pairs = neighbours(FAMILIES["dsub9"].rows)
    in_rows = {("1", "2"), ("2", "3"), ("3", "4"), ("4", "5"), ("6", "7"), ("7", "8"), ("8", "9")}
    across = {("1", "6"), ("2", "6"), ("2", "7"), ("3", "7"), ("3", "8"), ("4", "8"), ("4", "9"), ("5", "9")}
    assert pairs == in_rows | across


def test_neighbours_where_the_shift_is_unknown_cover_both_ways() -> None:
    pairs = neighbours(FAMILIES["hd15"].rows)
    for other in ("6", "7", "8"):  # middle row shifted left or right: 2 may lie beside 6 and 7, or beside 7 and 8
        assert ("2", other) in pairs
    assert ("2", "9") not in pairs
    assert ("1", "11") not in pairs


def test_neighbours_of_terminals_and_of_one_contact() -> None:
    assert neighbours([["1", "2", "3"]]) == {("1", "2"), ("2", "3")}
    assert neighbours([["centre"]]) == frozenset()
    assert neighbours([]) == frozenset()


def test_neighbours_of_a_circular_layout() -> None:
    pairs = neighbours([["A", "B"], ["C", "D", "E"], ["F", "G"]])
    assert {("A", "C"), ("A", "D"), ("B", "D"), ("B", "E"), ("D", "F"), ("D", "G")} <= pairs
    assert ("A", "E") not in pairs
    assert ("A", "F") not in pairs


@given(st.lists(st.integers(1, 12), min_size=1, max_size=5))
@settings(max_examples=50)
def test_neighbours_are_few_and_each_pair_once(counts: list[int]) -> None:
    rows = [[f"{row}_{i}" for i in range(count)] for row, count in enumerate(counts)]
    order = {name: number for number, name in enumerate(name for row in rows for name in row)}
    pairs = neighbours(rows)
    assert all(order[a] < order[b] for a, b in pairs)
    assert len(pairs) <= 5 * len(order)
    assert pairs >= {(row[i], row[i + 1]) for row in rows for i in range(len(row) - 1)}
