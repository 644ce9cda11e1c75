"""The face of a connector in characters."""

from __future__ import annotations

import re

from face_connectors import any_connector, connector, ring
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness.connector.face_drawing import WIDTH, draw_face, face_title, mark_words
from benchcheck.harness.connector.geometry import Face, rows_seen
from benchcheck.harness.model import Connector


def drawn(*args: object) -> str:
    return "\n".join(draw_face(*args))  # type: ignore[arg-type]


def test_nine_sockets() -> None:
    assert drawn(connector("dsub9", "socket"), Face.MATING, {"4": "R", "7": "B"}) == (
        ".------------------------.\n\\    5   R4  3   2   1   /\n \\     9   8   B7  6    /\n  '--------------------'"
    )


def test_the_wide_row_is_up_from_either_side() -> None:
    for face in Face:
        lines = draw_face(connector("dsub25", "pin"), face)
        assert re.findall(r"\d+", lines[1]) == list(rows_seen(connector("dsub25", "pin"), face)[0])
        assert len(lines[1].strip()) > len(lines[2].strip())


def test_a_hundred_ways_with_the_ends_named() -> None:
    lines = draw_face(connector("dd100"), Face.MATING, {"30": "R", "99": "B"})
    assert [re.findall(r"[A-Z\d]+|o", line) for line in lines[1:-1]] == [
        ["1", *"o" * 26, "26"],
        ["27", *"oooR", *"o" * 21, "51"],
        ["52", *"o" * 24, "75"],
        ["76", *"o" * 23, "B", "o", "100"],
    ]
    assert max(map(len, lines)) <= WIDTH


def test_round_ones() -> None:
    assert drawn(connector("circular", "pin", [["A", "B"], ["C", "D", "E"], ["F", "G"]]), Face.MATING, {"D": "R"}) == (
        "(    A   B   )\n(  C  R:D  E )\n(    F   G   )"
    )
    places = connector("circular", "pin", places={"M": (0.0, 0.0), **ring("ABCDEF", 3.0)})
    assert [re.findall(r"[A-Z]", line) for line in draw_face(places, Face.MATING)] == [
        ["C", "B"],
        ["D", "M", "A"],
        ["E", "F"],
    ]
    assert [re.findall(r"[A-Z]", line) for line in draw_face(places, Face.WIRING)] == [
        ["B", "C"],
        ["A", "M", "D"],
        ["F", "E"],
    ]


def test_a_long_strip_is_listed() -> None:
    strip = connector("terminals", "none", [[str(number) for number in range(1, 121)]])
    lines = draw_face(strip, Face.MATING, {"77": "R"})
    assert " ".join(lines).split() == [f"R{n}" if n == 77 else str(n) for n in range(1, 121)]
    assert draw_face(connector("stud", "none"), Face.MATING) == []


def test_titles_and_marks() -> None:
    assert face_title(connector("dsub9", "socket"), Face.WIRING) == "P1: dsub9, sockets; wiring side, wide row up"
    assert face_title(connector("terminals", "none", [["1"]]), Face.MATING) == "P1: terminals"
    assert mark_words(connector("dsub15"), Face.MATING, {"4": "R", "15": "B"}) == [
        "R  4: upper row, 4th from the left, looking at the mating face (pins)",
        "B 15: lower row, 1st from the right, looking at the mating face (pins)",
    ]


@given(any_connector(), st.sampled_from(Face), st.data())
@settings(max_examples=150)
def test_every_contact_is_drawn_once_and_nothing_is_too_wide(half: Connector, face: Face, data: st.DataObject) -> None:
    chosen = data.draw(st.lists(st.sampled_from(half.contacts), max_size=2, unique=True))
    marks = dict(zip(chosen, "RB", strict=False))
    lines = draw_face(half, face, marks)
    assert max(map(len, lines)) <= WIDTH
    words = re.findall(r"[\w:]+", re.sub(r"row \d+: ", "", " ".join(lines)))
    if "o" in words or set(words) <= {"R", "B"}:
        rows = rows_seen(half, face)
        assert len(words) == len(half.contacts) + 2 * len(rows)
        assert [word for word in words if word in ("R", "B")] == [
            marks[pin] for row in rows for pin in row if pin in marks
        ]
    else:
        expected = [pin for row in rows_seen(half, face) for pin in row]
        shown = [marks.get(pin, "") + ("" if pin not in marks or pin.isdigit() else ":") + pin for pin in expected]
        assert words == shown
