"""A face of a connector drawn with characters: every contact at its place, those that are wanted marked.

Contacts are written with their names where the width allows it; on a wider face each is a small circle, a marked one
its letter, and the names at both ends of a row say how it counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from textwrap import wrap

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.connector.geometry import Face, Spots, location, rows_seen, seen, smallest_pitch_mm
from benchcheck.harness.model import Connector, Gender

WIDTH = 79
_CIRCLE = "o"
_LONGEST_NAME = 8
_MOST_GAP = 2  # empty lines between rows, at most


def face_title(connector: Connector, face: Face) -> str:
    """What is drawn, in one line: `P101: dsub25, sockets; mating face, wide row up`."""
    half = f", {connector.gender.value}s" if connector.gender is not Gender.NONE else ""
    side = "" if connector.gender is Gender.NONE else f"; {face.words}"
    family = FAMILIES[connector.family]
    up = ""
    if family.has_gender and len(connector.rows) > 1:
        up = ", held as its drawing shows it" if family.given_rows else ", wide row up"
    return f"{connector.ref}: {connector.family}{half}{side}{up}"


def mark_words(connector: Connector, face: Face, marks: Mapping[str, str]) -> list[str]:
    """A line for each mark: `R  4: upper row, 4th from the left, looking at the mating face (pins)`."""
    wide = max((len(pin) for pin in marks), default=0)
    return [f"{mark} {pin:>{wide}}: {location(connector, pin, face) or 'the only one'}" for pin, mark in marks.items()]


def draw_face(connector: Connector, face: Face, marks: Mapping[str, str] | None = None) -> list[str]:
    """The face as lines of at most WIDTH columns; none for a stud or splice.

    marks  contact -> one letter that is put on it, such as R for the red lead and B for the black one
    """
    marks = marks or {}
    spots = seen(connector, face)
    rows = rows_seen(connector, face)
    if not spots:
        return []
    for plain in (False, True):
        names = _names(connector, marks, plain=plain)
        lines = _set_out(rows, spots, names) if max(map(len, names.values())) <= _LONGEST_NAME else None
        if lines is not None:
            if plain:
                lines = _ended(lines, rows)
            framed = _framed(connector, lines)
            if max(len(line) for line in framed) <= WIDTH:
                return framed
    return _listed(rows, _names(connector, marks, plain=False))


def _names(connector: Connector, marks: Mapping[str, str], *, plain: bool) -> dict[str, str]:
    """What is written for each contact."""
    if plain:
        return {pin: marks.get(pin, _CIRCLE) for pin in connector.contacts}
    # R4, but R:A, which nobody takes for a contact RA
    return {
        pin: pin if pin not in marks else marks[pin] + ("" if pin.isdigit() else ":") + pin
        for pin in connector.contacts
    }


@dataclass(frozen=True, slots=True)
class _Line:
    """One line of the drawing; row is the number of the row that is on it, None between rows."""

    text: str
    row: int | None = None


def _set_out(rows: Sequence[Sequence[str]], spots: Spots, names: Mapping[str, str]) -> list[_Line] | None:
    """The rows with each contact at its place; None where that is too wide."""
    cell = max(map(len, names.values())) + 1
    cell += cell % 2  # so that half a pitch is a whole number of columns
    step_mm = min(
        (spots[right][0] - spots[left][0] for row in rows for left, right in pairwise(row)),
        default=0.0,
    )
    pitch_mm = smallest_pitch_mm(spots) or 1.0
    # contacts of one row may stand nearly above each other; then the pitch decides, and they are moved apart
    per_mm = cell / max(step_mm, pitch_mm / 2)
    left_mm = min(x_mm for x_mm, _ in spots.values())
    widest_mm = max(x_mm for x_mm, _ in spots.values()) - left_mm
    if widest_mm * per_mm > WIDTH:
        return None
    # a line is about twice as high as a column is wide
    lines: list[_Line] = []
    above_mm: float | None = None
    for number, row in enumerate(rows):
        y_mm = spots[row[0]][1]
        if above_mm is not None:
            gap = round((above_mm - y_mm) * per_mm / 2) - 1 if above_mm - y_mm > 1.5 * pitch_mm else 0
            lines += [_Line("")] * min(max(gap, 0), _MOST_GAP)
        above_mm = y_mm
        text = ""
        for pin in row:
            name = names[pin]
            middle = round((spots[pin][0] - left_mm) * per_mm) + (cell - 1) // 2
            column = middle - (len(name) - 1) // 2
            text = text.ljust(max(column, len(text) + 1 if text else 0)) + name
        lines.append(_Line(text, number))
    return lines


def _ended(lines: Sequence[_Line], rows: Sequence[Sequence[str]]) -> list[_Line]:
    """The names of its first and last contact beside each row."""
    wide = max(len(row[0]) for row in rows)
    width = max(len(line.text) for line in lines)
    return [
        _Line(f"{rows[line.row][0]:>{wide}} {line.text:{width}} {rows[line.row][-1]}", line.row)
        if line.row is not None
        else line
        for line in lines
    ]


def _framed(connector: Connector, lines: Sequence[_Line]) -> list[str]:
    """The outline: slanting for a D-sub, so that its wide side shows; round brackets for a round one; a bar below screws."""
    width = max(len(line.text) for line in lines)
    bodies = [line.text.ljust(width) for line in lines]
    family = FAMILIES[connector.family]
    if not family.has_gender:
        return ["+" + "-" * (width + 2) + "+", *(f"| {body} |" for body in bodies), "+" + "-" * (width + 2) + "+"]
    if family.given_rows or len(connector.contacts) == 1:
        return [f"( {body} )" for body in bodies]
    deep = len(bodies)
    framed = ["." + "-" * (width + 2 * deep + 2) + "."]
    for number, body in enumerate(bodies):
        inside = " " * (deep - number)
        framed.append(f"{' ' * number}\\ {inside}{body}{inside} /")
    framed.append(f"{' ' * deep}'{'-' * (width + 2)}'")
    return framed


def _listed(rows: Sequence[Sequence[str]], names: Mapping[str, str]) -> list[str]:
    """Row by row as text, where nothing else fits."""
    lines: list[str] = []
    for number, row in enumerate(rows, 1):
        head = f"row {number}: " if len(rows) > 1 else ""
        text = " ".join(names[pin] for pin in row)
        lines += wrap(text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head))
    return lines
