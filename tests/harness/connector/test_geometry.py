"""Where contacts lie, on each face of each half: published numberings, and what must hold of any connector."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from face_connectors import DSUB, any_connector, connector, ring
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness.connector.families import neighbours, shift_unknown
from benchcheck.harness.connector.geometry import (
    SIDE_BY_SIDE,
    Face,
    at_one_spot,
    layout,
    location,
    neighbours_of,
    ordinal,
    rows_of,
    rows_seen,
    seen,
    side_by_side,
    smallest_pitch_mm,
    spot_words,
)
from benchcheck.harness.model import Connector, Gender

OTHER = {Gender.PIN: Gender.SOCKET, Gender.SOCKET: Gender.PIN, Gender.NONE: Gender.NONE}


def numbers(first: int, last: int) -> tuple[str, ...]:
    step = 1 if last > first else -1
    return tuple(str(number) for number in range(first, last + step, step))


# Published connector pages (the same in all of them): looking at the mating face, wide row up, the male half counts
# 1 to 5 and 6 to 9 from the left, the female half 5 to 1 and 9 to 6; the 25-way 1 to 13 and 14 to 25, mirrored in the
# female half. That 15, 37 and 50 ways count alike is from memory; so is the high-density 15, whose numbering differs
# between makers.
MALE = {
    "dsub9": [(1, 5), (6, 9)],
    "dsub25": [(1, 13), (14, 25)],
    "dsub15": [(1, 8), (9, 15)],
    "dsub37": [(1, 19), (20, 37)],
    "dsub50": [(1, 17), (18, 33), (34, 50)],
    "hd15": [(1, 5), (6, 10), (11, 15)],
}


@pytest.mark.parametrize("family", MALE)
def test_numbering_on_each_face(family: str) -> None:
    male = tuple(numbers(*row) for row in MALE[family])
    female = tuple(numbers(last, first) for first, last in MALE[family])
    assert rows_seen(connector(family, "pin"), Face.MATING) == male
    assert rows_seen(connector(family, "socket"), Face.MATING) == female
    # derived: the back of a male looks like the front of a female, and the reverse
    assert rows_seen(connector(family, "pin"), Face.WIRING) == female
    assert rows_seen(connector(family, "socket"), Face.WIRING) == male


@pytest.mark.parametrize("family", MALE)
@pytest.mark.parametrize("gender", ["pin", "socket"])
@pytest.mark.parametrize("face", Face)
def test_spots_stand_in_the_order_of_the_rows(family: str, gender: str, face: Face) -> None:
    half = connector(family, gender)
    spots = seen(half, face)
    heights = [{spots[pin][1] for pin in row} for row in rows_seen(half, face)]
    assert all(len(height) == 1 for height in heights)
    assert [max(height) for height in heights] == sorted((max(height) for height in heights), reverse=True)
    for row in rows_seen(half, face):
        across = [spots[pin][0] for pin in row]
        assert across == sorted(across)


def test_nine_ways_in_millimetres() -> None:
    # published: pitch 326/3000 inch, rows 0.112 inch apart, shifted half a pitch
    pitch_mm, row_mm = 326 / 3000 * 25.4, 0.112 * 25.4
    spots = seen(connector("dsub9", "pin"), Face.MATING)
    assert spots["1"] == pytest.approx((-2 * pitch_mm, row_mm / 2), abs=0.01)
    assert spots["5"] == pytest.approx((2 * pitch_mm, row_mm / 2), abs=0.01)
    assert spots["6"] == pytest.approx((-1.5 * pitch_mm, -row_mm / 2), abs=0.01)
    assert spots["2"][0] - spots["1"][0] == pytest.approx(pitch_mm, abs=0.005)
    assert spots["6"][0] - spots["1"][0] == pytest.approx(pitch_mm / 2, abs=0.005)
    # the wide row of a 25-way spans twelve pitches, of a 37-way eighteen
    for family, pitches in (("dsub25", 12), ("dsub37", 18)):
        spots = seen(connector(family), Face.MATING)
        assert spots[str(pitches + 1)][0] - spots["1"][0] == pytest.approx(pitches * pitch_mm, abs=0.02)


def test_high_density_in_millimetres() -> None:
    # published: 0.090 by 0.078 inch
    spots = seen(connector("hd26"), Face.MATING)
    assert spots["2"][0] - spots["1"][0] == pytest.approx(0.090 * 25.4, abs=0.005)
    assert spots["1"][1] - spots["10"][1] == pytest.approx(0.078 * 25.4, abs=0.005)
    assert not layout(connector("hd26")).to_scale  # how its equal rows are shifted is not known
    assert "moulded numbers" in layout(connector("hd26")).caution
    assert layout(connector("hd78")).to_scale


def test_what_is_not_known_is_said() -> None:
    assert layout(connector("dsub25")).to_scale
    assert layout(connector("dsub25")).caution == ""
    assert "pitch of this series is not known" in layout(connector("dd52")).caution
    by_rows = layout(connector("circular", rows=[["A"], ["B", "C"]]))
    assert not by_rows.to_scale
    assert by_rows.source == "rows in the profile"
    assert layout(connector("coax")).caution == ""


@given(any_connector(), st.sampled_from(Face))
@settings(max_examples=100)
def test_any_connector_from_any_side(half: Connector, face: Face) -> None:
    spots = seen(half, face)
    assert tuple(spots) == half.contacts  # every contact has a spot
    assert len(set(spots.values())) == len(spots)  # of its own
    other_face = Face.WIRING if face is Face.MATING else Face.MATING
    mate = replace(half, gender=OTHER[half.gender])
    # the wiring side of a half is the mating face of its mate
    assert seen(mate, other_face) == spots
    assert rows_seen(mate, other_face) == rows_seen(half, face)
    if half.gender is not Gender.NONE:
        # turning it round twice is as it was; once mirrors left and right only
        turned = seen(half, other_face)
        assert {pin: (-x, y) for pin, (x, y) in turned.items()} == spots
        assert tuple(tuple(reversed(row)) for row in rows_seen(half, other_face)) == rows_seen(half, face)
    assert sorted(pin for row in rows_seen(half, face) for pin in row) == sorted(half.contacts)
    # what is said of a contact is said of no other
    words = [spot_words(half, pin, face) for pin in half.contacts]
    assert len(set(words)) == len(words)


# --- neighbours --------------------------------------------------------------------------------------------------


def by_distance(half: Connector) -> set[frozenset[str]]:
    return {frozenset(pair) for pair in side_by_side(tuple(layout(half).spots.items()))}


def by_rows(half: Connector) -> set[frozenset[str]]:
    return {frozenset(pair) for pair in neighbours(half.rows)}


@pytest.mark.parametrize("family", DSUB)
def test_neighbours_by_distance_are_those_by_rows(family: str) -> None:
    half = connector(family)
    if shift_unknown(half.rows):
        assert by_distance(half) <= by_rows(half)  # the rows add what the other shift would bring
    else:
        assert by_distance(half) == by_rows(half)


@given(st.lists(st.integers(1, 14), min_size=1, max_size=6))
@settings(max_examples=100)
def test_neighbours_of_any_rows(counts: list[int]) -> None:
    rows = [[f"{row}_{index}" for index in range(count)] for row, count in enumerate(counts)]
    half = connector("circular", rows=rows)
    if shift_unknown(rows):
        assert by_distance(half) <= by_rows(half)
    else:
        assert by_distance(half) == by_rows(half)


@given(any_connector())
@settings(max_examples=60)
def test_nobody_is_without_neighbour(half: Connector) -> None:
    pairs = neighbours_of(half)
    order = {pin: number for number, pin in enumerate(half.contacts)}
    assert all(order[a] < order[b] for a, b in pairs)
    if len(half.contacts) > 1 and (half.places or half.family != "circular"):
        assert {pin for pair in pairs for pin in pair} == set(half.contacts)
    # the same from any side, and of either half
    assert neighbours_of(replace(half, gender=OTHER[half.gender])) == pairs


@given(any_connector())
@settings(max_examples=60)
def test_the_quick_way_finds_what_comparing_every_two_finds(half: Connector) -> None:
    spots = layout(half).spots
    nearest = {a: min((math.dist(spots[a], spots[b]) for b in spots if a != b), default=math.inf) for a in spots}
    pins = list(spots)
    slow = {
        (a, b)
        for number, a in enumerate(pins)
        for b in pins[number + 1 :]
        if math.dist(spots[a], spots[b]) <= SIDE_BY_SIDE * max(nearest[a], nearest[b]) * (1 + 1e-9)
    }
    assert side_by_side(tuple(spots.items())) == slow


def test_neighbours_by_places() -> None:
    # seven contacts of equal size packed as close as they go: each of the six touches the middle and two others
    seven = connector("circular", places={"c": (0.0, 0.0), **ring("ABCDEF", 3.0)})
    assert len(neighbours_of(seven)) == 12
    # a square: the diagonal counts, what lies one further doesn't
    square = {f"{x}{y}": (2.0 * x, 2.0 * y) for x in range(3) for y in range(3)}
    pairs = {frozenset(pair) for pair in neighbours_of(connector("circular", places=square))}
    assert {frozenset(("00", "11")), frozenset(("00", "01"))} <= pairs
    assert frozenset(("00", "20")) not in pairs
    assert len(pairs) == 12 + 8
    # few large ones among many small ones are each other's neighbours all the same
    mixed = {f"s{n}": (float(n), 0.0) for n in range(6)} | {"X": (0.0, 9.0), "Y": (5.0, 9.0)}
    assert ("X", "Y") in neighbours_of(connector("circular", places=mixed))


def test_neighbours_of_many_large_connectors_are_computed_once() -> None:
    halves = [connector("dd100") for _ in range(1000)]
    first = neighbours_of(halves[0])
    assert len(first) == 100 - 4 + 2 * (25 + 24 + 24)
    assert all(neighbours_of(half) is first for half in halves)
    places = {f"c{n}": (2.0 * (n % 13), 2.0 * (n // 13)) for n in range(128)}
    placed = [connector("circular", places=dict(places)) for _ in range(5)]
    assert all(neighbours_of(half) is neighbours_of(placed[0]) for half in placed)


# --- places ------------------------------------------------------------------------------------------------------


def test_rows_of_places() -> None:
    assert rows_of({"A": (0.0, 5.0), "B": (-3.0, 5.1), "C": (0.0, 0.0), "D": (4.0, -0.2)}) == (("B", "A"), ("C", "D"))
    assert rows_of({"A": (0.0, 0.0)}) == (("A",),)
    assert rows_of({}) == ()
    assert smallest_pitch_mm({"A": (0.0, 0.0), "B": (3.0, 4.0), "C": (20.0, 0.0)}) == 5.0
    assert smallest_pitch_mm({"A": (0.0, 0.0)}) == 0.0
    assert at_one_spot({"A": (1.0, 1.0), "B": (2.0, 1.0), "C": (1.0, 1.0)}) == [("A", "C")]


# --- words -------------------------------------------------------------------------------------------------------


def test_where_a_contact_is() -> None:
    female = connector("dsub25", "socket")
    assert location(female, "11", Face.MATING) == "upper row, 3rd from the left, looking at the mating face (sockets)"
    assert location(female, "14", Face.MATING) == "lower row, 1st from the right, looking at the mating face (sockets)"
    assert location(female, "11", Face.WIRING) == "upper row, 3rd from the right, looking at the wiring side"
    male = connector("dsub9", "pin")
    assert location(male, "3", Face.MATING) == "upper row, 3rd from the left, looking at the mating face (pins)"
    assert location(connector("dsub50"), "18", Face.MATING).startswith("middle row, 1st from the left")
    assert location(connector("dd100"), "76", Face.MATING).startswith("4th row from the top, 1st from the left")
    strip = connector("terminals", "none", [["1", "2", "3", "4"]])
    assert location(strip, "4", Face.MATING) == "1st from the right"
    assert location(connector("circular", rows=[["A"], ["B", "C"]]), "A", Face.MATING).startswith(
        "upper row, the only one"
    )


@pytest.mark.parametrize("pin", ["shell", "ring", "26"])
def test_what_has_no_spot_has_no_words(pin: str) -> None:
    assert location(connector("dsub25"), pin, Face.MATING) == ""
    assert location(connector("coax"), "centre", Face.MATING) == ""  # there is but one


def test_ordinals() -> None:
    assert [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 22, 101, 111)] == [
        "1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "22nd", "101st", "111th",
    ]  # fmt: skip


def test_a_ring_of_places_mirrors_about_its_upright() -> None:
    half = connector("circular", "socket", places=ring("ABCD", 2.0))
    spots = seen(half, Face.MATING)
    assert spots["A"] == pytest.approx((-2.0, 0.0))
    assert spots["B"] == pytest.approx((0.0, 2.0))
    assert spots["C"] == pytest.approx((2.0, 0.0))
