"""Connectors by coordinates: the contacts of a circular one at their places, and each fault in them."""

from __future__ import annotations

import pytest
from sample_profile import changed, faults, faults_of

from benchcheck.harness.connector.geometry import Face, neighbours_of, rows_seen
from benchcheck.harness.reading.read_harness import read_harness

H = "harness.toml"
ROWS = 'rows = [["A", "B"], ["C", "D"]]\n'
PLACES = "places = { D = [1.5, -1.5], A = [-1.5, 1.5], B = [1.5, 1.5], C = [-1.5, -1.5] }\n"


def test_places_give_contacts_in_their_order_and_rows_by_height() -> None:
    harness = read_harness("sample", changed((H, ROWS, PLACES)))
    p3 = harness.connectors["P3"]
    assert p3.contacts == ("D", "A", "B", "C")
    assert p3.rows == (("A", "B"), ("C", "D"))
    assert p3.places["A"] == (-1.5, 1.5)
    assert rows_seen(p3, Face.MATING) == (("B", "A"), ("D", "C"))  # it has sockets
    assert {frozenset(pair) for pair in neighbours_of(p3)} == {
        frozenset(pair) for pair in ("AB", "BD", "CD", "AC", "AD", "BC")
    }
    # places may also stand in a table of their own, and whole numbers will do
    table = "[connectors.places]\nA = [0, 0]\nB = [0, 3]\nC = [3, 0]\nD = [3, 3]\n[[connectors]]"
    text = changed()[H].replace(ROWS, "")
    start = text.index("[[connectors]]", text.index('ref = "P3"'))
    placed = changed()
    placed[H] = text[:start] + table + text[start + len("[[connectors]]") :]
    assert read_harness("sample", placed).connectors["P3"].rows == (("B", "D"), ("A", "C"))


@pytest.mark.parametrize(
    ("given", "said", "hint", "column_of"),
    [
        ("", "P3: a circular needs rows or places", "places = {", "[[connectors]]"),
        (ROWS + PLACES, "P3: rows and places are both given", "Leave one of them out", "places"),
        (
            PLACES.replace("C = [-1.5, -1.5]", "C = [1.5, -1.5]"),
            "P3: contacts D and C are at one spot, 1.5, -1.5 mm",
            "spot of its own",
            "[1.5, -1.5] }",
        ),
        (PLACES.replace("C = [-1.5, -1.5]", "C = [-1.5]"), "", "", ""),
        (PLACES.replace("C = [-1.5, -1.5]", 'C = [-1.5, "1"]'), "", "", ""),
        (PLACES.replace("C = [-1.5, -1.5]", "C = [-1.5, nan]"), "", "", ""),
        (PLACES.replace("C =", "shell ="), "", "", ""),
        (PLACES.replace(", C = [-1.5, -1.5]", ""), "", "", ""),  # the unit has a C
    ],
)
def test_faults_of_places(given: str, said: str, hint: str, column_of: str) -> None:
    found = faults((H, ROWS, given))
    assert found
    if said:
        fault = next(fault for fault in found if said in fault.text)
        assert hint in fault.hint
        files = changed((H, ROWS, given))
        line = str(files[H]).splitlines()[(fault.place.line or 0) - 1]
        assert line[(fault.place.column or 0) - 1 :].startswith(column_of)


@pytest.mark.parametrize(
    ("ref", "said"),
    [("P2", "places of a dsub15 are known"), ("TB1", "terminals have rows, no places"), ("GND1", "places of a stud")],
)
def test_places_belong_to_round_ones_only(ref: str, said: str) -> None:
    found = faults((H, f'ref = "{ref}"\n', f'ref = "{ref}"\nplaces = {{ A = [0.0, 0.0] }}\n'))
    assert any(said in fault.text for fault in found)


def test_a_size_for_a_contact_that_is_not_there() -> None:
    files = changed((H, ROWS, ROWS + 'contact_size = "20"\ncontact_sizes = { D = "12", X = "16" }\n'))
    (fault,) = faults_of(files)
    assert fault.text == "contact_sizes: contact 'X' is not in P3"
    sized = read_harness("sample", changed((H, ROWS, ROWS + 'contact_size = "20"\ncontact_sizes = { D = "12" }\n')))
    assert [sized.connectors["P3"].size_of(pin) for pin in "AD"] == ["20", "12"]
    assert sized.connectors["P1"].size_of("1") == "20"
