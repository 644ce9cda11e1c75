"""Connectors for the tests of faces, and strategies for any of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from hypothesis import strategies as st

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.connector.geometry import rows_of
from benchcheck.harness.model import Connector, Gender

DSUB = sorted(name for name, family in FAMILIES.items() if family.rows and name != "coax")


def connector(
    family: str,
    gender: str = "pin",
    rows: Sequence[Sequence[str]] | None = None,
    places: Mapping[str, tuple[float, float]] | None = None,
    **more: object,
) -> Connector:
    """A connector P1 of a family, its contacts by rows or places where the family has none of its own."""
    known = FAMILIES[family]
    laid = rows_of(places) if places else tuple(tuple(row) for row in rows or known.rows)
    contacts = tuple(places) if places else tuple(pin for row in laid for pin in row)
    values = {"contact_size": known.contact_size, "has_shell": known.has_shell, "places": places or {}} | more
    return Connector("P1", family, Gender(gender), contacts, laid, **values)


def ring(names: str, radius_mm: float) -> dict[str, tuple[float, float]]:
    """Contacts evenly on a circle, the first at the right, counter-clockwise."""
    turn = math.tau / len(names)
    return {name: (radius_mm * math.cos(n * turn), radius_mm * math.sin(n * turn)) for n, name in enumerate(names)}


@st.composite
def any_connector(draw: st.DrawFn) -> Connector:
    """A D-sub, or a circular one by rows or by places on a grid of half millimetres."""
    gender = draw(st.sampled_from(["pin", "socket"]))
    kind = draw(st.sampled_from(["dsub", "rows", "places", "terminals"]))
    if kind == "dsub":
        return connector(draw(st.sampled_from(DSUB)), gender)
    if kind == "places":
        grid = st.tuples(st.integers(-20, 20), st.integers(-20, 20))
        spots = draw(st.lists(grid, min_size=1, max_size=30, unique=True))
        return connector("circular", gender, places={f"c{n}": (x / 2, y / 2) for n, (x, y) in enumerate(spots)})
    counts = draw(st.lists(st.integers(1, 12), min_size=1, max_size=1 if kind == "terminals" else 6))
    rows = [[f"{row}_{index}" for index in range(count)] for row, count in enumerate(counts)]
    if kind == "terminals":
        return connector("terminals", "none", rows)
    return connector("circular", gender, rows)
