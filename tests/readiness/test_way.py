"""Whether a current goes through a contact or a run: against the series and parallel rules of every textbook."""

from __future__ import annotations

import pytest

from benchcheck.harness.circuit import Circuit, Edge
from benchcheck.readiness.way import Way

# a - b - c - d in series, b - x a stub, c - e - d a second way from c to d, lonely apart
CIRCUIT = Circuit(
    [
        Edge("ab", "a", "b", 1.0),
        Edge("bc", "b", "c", 1.0),
        Edge("cd", "c", "d", 1.0),
        Edge("bx", "b", "x", 1.0),
        Edge("ce", "c", "e", 1.0),
        Edge("ed", "e", "d", 1.0),
        Edge("lone", "l", "m", 1.0),
    ]
)


@pytest.mark.parametrize(
    ("contact", "ends", "passes"),
    [
        ("b", ("a", "c"), True),  # in series
        ("x", ("a", "c"), False),  # a stub
        ("c", ("a", "b"), False),  # behind
        ("e", ("a", "d"), True),  # one of two ways
        ("e", ("a", "c"), False),  # a loop that is not on the way
        ("d", ("c", "d"), True),  # at the end itself
        ("l", ("a", "d"), False),  # elsewhere
        ("b", ("a", "l"), False),  # what nothing joins has no way
        ("nowhere", ("a", "d"), False),
    ],
)
def test_contacts(contact: str, ends: tuple[str, str], passes: bool) -> None:
    assert Way(CIRCUIT, contact).between(*ends) is passes
    assert Way(CIRCUIT, contact).between(*reversed(ends)) is passes


@pytest.mark.parametrize(
    ("edge", "ends", "passes"),
    [
        ("bc", ("a", "d"), True),
        ("bx", ("a", "d"), False),
        ("cd", ("a", "d"), True),
        ("cd", ("a", "c"), False),
        ("gone", ("a", "d"), False),
    ],
)
def test_runs(edge: str, ends: tuple[str, str], passes: bool) -> None:
    assert Way(CIRCUIT, edge=edge).between(*ends) is passes
