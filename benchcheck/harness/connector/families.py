"""Connector families: which contacts each has, row by row on the mating face, and which are neighbours.

Rows of the D-sub sizes: published copy of the encyclopaedia's table of D-subminiature sizes.
Contacts count along the rows, the wide row first. That the high-density series all count this way is
common practice without a source: numbering differs between makers, so read the moulded numbers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

Rows = tuple[tuple[str, ...], ...]

_DSUB_SOURCE = "published table of D-subminiature sizes (rows by shell and density)"
_COUNTS: Mapping[str, tuple[int, ...]] = {
    # shells E, A, B, C, D, standard density
    "dsub9": (5, 4),
    "dsub15": (8, 7),
    "dsub25": (13, 12),
    "dsub37": (19, 18),
    "dsub50": (17, 16, 17),
    # the same shells, high density
    "hd15": (5, 5, 5),
    "hd26": (9, 9, 8),
    "hd44": (15, 15, 14),
    "hd62": (21, 21, 20),
    "hd78": (20, 19, 20, 19),
    # and double density
    "dd19": (6, 7, 6),
    "dd31": (10, 11, 10),
    "dd52": (17, 18, 17),
    "dd79": (26, 27, 26),
    "dd100": (26, 25, 24, 25),
}


@dataclass(frozen=True, slots=True)
class Family:
    """A family of connectors.

    rows        contacts row by row on the mating face; empty where the profile gives them
    given_rows  whether the profile must give the rows
    has_shell   whether `REF-shell` and `REF-ring` exist
    has_gender  whether one half has pins and the other sockets
    contact_size  size of its contacts where the family has but one: 20 in standard density, 22D in high and double
                (common practice, no source); empty where the profile must say
    single      whether the reference itself is the only contact (stud, splice), for any number of conductors
    pitch_mm    from one contact of a row to the next; None where it is not known here
    row_mm      from one row to the next; None where it is not known here
    """

    name: str
    rows: Rows = ()
    given_rows: bool = False
    has_shell: bool = True
    has_gender: bool = True
    single: bool = False
    contact_size: str = ""
    pitch_mm: float | None = None
    row_mm: float | None = None
    source: str = "common practice, no source"

    @property
    def contacts(self) -> tuple[str, ...]:
        return tuple(name for row in self.rows for name in row)


def _numbered(counts: Sequence[int]) -> Rows:
    rows: list[tuple[str, ...]] = []
    first = 1
    for count in counts:
        rows.append(tuple(str(number) for number in range(first, first + count)))
        first += count
    return tuple(rows)


# Contact size, pitch in a row and distance of the rows, in millimetres. Pitches: the same published table, 326/3000
# and 0.112 inch in standard density, 0.090 and 0.078 inch in high density. That of the double density series is not
# known here. Other pages give 2.74 or 2.77 mm for the standard pitch: the last digit decides nothing here.
_DENSITIES: Mapping[str, tuple[str, float | None, float | None]] = {
    "dsub": ("20", 2.76, 2.84),
    "hd": ("22D", 2.29, 1.98),
    "dd": ("22D", None, None),
}


def _dsub(name: str, counts: Sequence[int]) -> Family:
    size, pitch_mm, row_mm = _DENSITIES[name.rstrip("0123456789")]
    return Family(name, _numbered(counts), contact_size=size, pitch_mm=pitch_mm, row_mm=row_mm, source=_DSUB_SOURCE)


FAMILIES: Mapping[str, Family] = {
    **{name: _dsub(name, counts) for name, counts in _COUNTS.items()},
    "circular": Family("circular", given_rows=True),
    "coax": Family("coax", (("centre",),)),
    "terminals": Family("terminals", given_rows=True, has_shell=False, has_gender=False),
    "stud": Family("stud", has_shell=False, has_gender=False, single=True),
    "splice": Family("splice", has_shell=False, has_gender=False, single=True),
}


def shift_unknown(rows: Sequence[Sequence[str]]) -> bool:
    """Whether two adjacent rows are equally long: then the counts don't say which way one is shifted on the other."""
    return any(len(upper) == len(lower) for upper, lower in pairwise(rows))


def neighbours(rows: Sequence[Sequence[str]]) -> frozenset[tuple[str, str]]:
    """Pairs of contacts next to each other on the mating face, each pair once, earlier contact first.

    Next to each other in a row; and across adjacent rows. A row is centred over the next, so rows whose
    lengths differ by one are shifted half a pitch: contact i of the long row lies between i-1 and i of the
    short one. Where two adjacent rows are equally long (the high-density sizes) the counts don't say
    which way they are shifted; then every contact within one place either way counts, which adds pairs and
    leaves none out. Computed once for each layout. Where a profile gives coordinates, `geometry.neighbours_of` knows.
    """
    return _neighbours(tuple(tuple(row) for row in rows))


@lru_cache(maxsize=1024)
def _neighbours(rows: Rows) -> frozenset[tuple[str, str]]:
    pairs: set[tuple[str, str]] = set()
    for row in rows:
        pairs.update(pairwise(row))
    unknown = shift_unknown(rows)
    for upper, lower in pairwise(rows):
        # twice the distance along the row, so that half pitches stay whole numbers
        lead = len(lower) - len(upper)
        for i, one in enumerate(upper):
            middle = i + lead // 2  # about where contact i lies on the other row
            low, high = min(i, middle) - 1, max(i, middle) + 2
            for j in range(max(low, 0), min(high + 1, len(lower))):
                if abs(2 * (i - j) + lead) <= 2 or (unknown and abs(i - j) <= 1):
                    pairs.add((one, lower[j]))
    return frozenset(pairs)
