"""Where each contact lies, on the face that the technician looks at, and which lie side by side.

Everything is laid out as the mating face of the half with the pins shows it, the wide row up: contact 1 of a D-sub at the
upper left. A half with sockets shows the mirror image there, and the wiring side of a half shows what its mating face
shows, mirrored: so the wiring side of a pin half looks like the mating face of a socket half, and the reverse.
Rows and places that a profile gives are those of the pin half's mating face as well, rows from left to right, the upper
one first, x to the right and y up.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import islice

from benchcheck.harness.connector.families import FAMILIES, Rows, neighbours, shift_unknown
from benchcheck.harness.model import Connector, Gender

Spot = tuple[float, float]
Spots = Mapping[str, Spot]

# Two contacts lie side by side where they are no further apart than this many times what either is from its nearest.
# In a square pattern that takes in the diagonal (1.41), in a triangular one it leaves out the second ring (1.73), and
# in two rows half a pitch apart it takes in both contacts opposite and no other. Measured from either contact, and not
# from the smallest pitch of the whole face, so that the few large contacts of a mixed layout have neighbours too.
SIDE_BY_SIDE = 1.5
# Contacts whose heights differ by less than this part of the smallest pitch stand in one row.
_ONE_ROW = 0.5
_UNIT_MM = 1.0  # the pitch in which a layout is drawn whose true pitch is not known
_TOUCHING_MM = 0.01  # nearer than this, two contacts are given at one spot

_ENDINGS = {1: "st", 2: "nd", 3: "rd"}
_ROW_NAMES = {2: ("upper row", "lower row"), 3: ("upper row", "middle row", "lower row")}


class Face(StrEnum):
    """The side of a connector half that is looked at."""

    MATING = "mating"
    WIRING = "wiring"

    @property
    def words(self) -> str:
        return "mating face" if self is Face.MATING else "wiring side"


@dataclass(frozen=True, slots=True)
class Layout:
    """Spots of all contacts in millimetres, on the mating face of the pin half, x to the right and y up.

    to_scale  whether the distances are true; otherwise the contacts are set out evenly, in their order
    source    where that comes from
    caution   what is not known of it, in words; empty where nothing is
    """

    spots: Spots
    to_scale: bool
    source: str
    caution: str = ""


def layout(connector: Connector) -> Layout:
    """Where the contacts of a connector lie on the mating face of the pin half. Studs and splices have no spots."""
    if connector.places:
        return Layout(connector.places, True, "coordinates in the profile")
    family = FAMILIES[connector.family]
    pitch_mm, row_mm = family.pitch_mm, family.row_mm
    spots = _centred(connector.rows, pitch_mm or _UNIT_MM, row_mm or _UNIT_MM)
    if family.given_rows:
        return Layout(spots, False, "rows in the profile", "distances are not known: set out evenly, row by row")
    if pitch_mm is None or row_mm is None:
        caution = "" if len(spots) < 2 else "pitch of this series is not known here: set out evenly, row by row"
        return Layout(spots, False, family.source, caution)
    if shift_unknown(connector.rows):
        caution = "which way rows of equal length are shifted, and how they count, differs: read the moulded numbers"
        return Layout(spots, False, family.source, caution)
    return Layout(spots, True, family.source)


@lru_cache(maxsize=1024)
def _centred(rows: Rows, pitch_mm: float, row_mm: float) -> Spots:
    spots: dict[str, Spot] = {}
    for number, row in enumerate(rows):
        y_mm = ((len(rows) - 1) / 2 - number) * row_mm
        for index, pin in enumerate(row):
            spots[pin] = ((index - (len(row) - 1) / 2) * pitch_mm, y_mm)
    return spots


def is_mirrored(gender: Gender, face: Face) -> bool:
    """Whether a face of a half shows the mirror image of the pin half's mating face. A terminal strip never does."""
    if gender is Gender.NONE:
        return False
    return (gender is Gender.SOCKET) != (face is Face.WIRING)


def seen(connector: Connector, face: Face) -> dict[str, Spot]:
    """Spots in millimetres as seen when looking at a face, x to the right and y up, in the connector's order."""
    spots = layout(connector).spots
    sign = -1.0 if is_mirrored(connector.gender, face) else 1.0
    # adding 0.0 turns a minus zero into a plain one
    return {pin: (sign * spots[pin][0] + 0.0, spots[pin][1]) for pin in connector.contacts if pin in spots}


def rows_seen(connector: Connector, face: Face) -> Rows:
    """The contacts row by row as seen when looking at a face: the upper row first, each from left to right."""
    if is_mirrored(connector.gender, face):
        return tuple(tuple(reversed(row)) for row in connector.rows)
    return connector.rows


def rows_of(places: Spots) -> Rows:
    """Rows of contacts at about one height, the upper one first, each from left to right."""
    slack_mm = _ONE_ROW * smallest_pitch_mm(places)
    rows: list[list[str]] = []
    top_mm = math.inf
    for pin in sorted(places, key=lambda pin: -places[pin][1]):
        if top_mm - places[pin][1] > slack_mm or not rows:
            rows.append([])
            top_mm = places[pin][1]
        rows[-1].append(pin)
    return tuple(tuple(sorted(row, key=lambda pin: places[pin])) for row in rows)


def smallest_pitch_mm(places: Spots) -> float:
    """The smallest distance of two contacts; 0 where there is one only."""
    return min(_nearest_mm(places).values(), default=0.0) if len(places) > 1 else 0.0


def at_one_spot(places: Spots) -> list[tuple[str, str]]:
    """Pairs of contacts that are given at the same spot, earlier contact first."""
    return sorted(_closer_than(places, lambda one, other: _TOUCHING_MM), key=lambda pair: list(places).index(pair[1]))


def neighbours_of(connector: Connector) -> frozenset[tuple[str, str]]:
    """Pairs of contacts that lie side by side, each pair once, earlier contact first: by coordinates, else by rows."""
    if connector.places:
        return side_by_side(tuple(connector.places.items()))
    return neighbours(connector.rows)


@lru_cache(maxsize=1024)
def side_by_side(places: tuple[tuple[str, Spot], ...]) -> frozenset[tuple[str, str]]:
    """Pairs of contacts that lie side by side by their distance, see SIDE_BY_SIDE. `places` as a tuple of items."""
    spots = dict(places)
    nearest_mm = _nearest_mm(spots)
    # a hair more than the factor, so that equal distances count alike whatever their last digit
    reach_mm = {pin: SIDE_BY_SIDE * apart_mm * (1 + 1e-9) for pin, apart_mm in nearest_mm.items()}
    return frozenset(_closer_than(spots, lambda one, other: max(reach_mm[one], reach_mm[other])))


def _closer_than(places: Spots, limit_mm: Callable[[str, str], float]) -> Iterator[tuple[str, str]]:
    """Pairs no further apart than the limit of the two, earlier contact first. Looks only at what is near in x."""
    order = {pin: number for number, pin in enumerate(places)}
    along = sorted(places.items(), key=lambda item: item[1])
    widest_mm = max((limit_mm(pin, pin) for pin in places), default=0.0)
    for number, (one, at) in enumerate(along):
        for other, there in islice(along, number + 1, None):
            if there[0] - at[0] > widest_mm:
                break
            if math.dist(at, there) <= limit_mm(one, other):
                yield (one, other) if order[one] < order[other] else (other, one)


def _nearest_mm(places: Spots) -> dict[str, float]:
    """Distance of each contact to its nearest."""
    found = dict.fromkeys(places, math.inf)
    along = sorted(places.items(), key=lambda item: item[1])
    for number, (one, at) in enumerate(along):
        for side in (range(number + 1, len(along)), range(number - 1, -1, -1)):
            for index in side:
                there = along[index][1]
                if abs(there[0] - at[0]) >= found[one]:
                    break
                found[one] = min(found[one], math.dist(at, there))
    return found


def location(connector: Connector, pin: str, face: Face) -> str:
    """Where to look for a contact: `upper row, 3rd from the left, looking at the mating face (sockets)`.

    Counted from the nearer end of the row. Empty for what has no spot: shell, ring, stud, splice.
    """
    spot = spot_words(connector, pin, face)
    if not spot or len(connector.contacts) == 1:
        return ""
    if connector.gender is Gender.NONE:
        return spot
    what = f" ({connector.gender.value}s)" if face is Face.MATING else ""
    return f"{spot}, looking at the {face.words}{what}"


def spot_words(connector: Connector, pin: str, face: Face) -> str:
    """`upper row, 3rd from the left`; empty where the contact has no spot."""
    rows = rows_seen(connector, face)
    number = next((number for number, row in enumerate(rows) if pin in row), None)
    if number is None:
        return ""
    row = rows[number]
    index = row.index(pin)
    from_right = len(row) - 1 - index
    if len(row) == 1:
        place = "the only one"
    elif index <= from_right:
        place = f"{ordinal(index + 1)} from the left"
    else:
        place = f"{ordinal(from_right + 1)} from the right"
    if len(rows) == 1:
        return place
    names = _ROW_NAMES.get(len(rows))
    return f"{names[number] if names else f'{ordinal(number + 1)} row from the top'}, {place}"


def ordinal(number: int) -> str:
    """`1st`, `2nd`, `3rd`, `4th`, `11th`, `22nd`."""
    if number % 100 in (11, 12, 13):
        return f"{number}th"
    return f"{number}{_ENDINGS.get(number % 10, 'th')}"
