from __future__ import annotations

import string

import pytest

from benchcheck.screens.block_letters import INK, ROWS, can_draw, draw, width_of

LETTERS = string.ascii_uppercase + string.digits + "-_@"


def test_every_letter_of_a_contact_is_drawn_and_no_two_look_alike():
    assert can_draw(LETTERS)
    drawn = {letter: tuple(draw(letter)) for letter in LETTERS}
    assert len(set(drawn.values())) == len(LETTERS)
    for lines in drawn.values():
        assert len(lines) == ROWS
        assert {len(line) for line in lines} == {width_of("A")}
        assert any(INK in line for line in lines)


@pytest.mark.parametrize(("one", "other"), [("0", "O"), ("1", "I"), ("5", "S"), ("8", "B"), ("2", "Z")])
def test_digits_differ_from_the_letters_they_are_taken_for_in_more_than_one_dot(one, other):
    dots = zip("".join(draw(one)), "".join(draw(other)), strict=True)
    assert sum(a != b for a, b in dots) >= 2


def test_wider_and_taller():
    small, large = draw("P1-2"), draw("P1-2", 2, 2)
    assert len(large) == 2 * len(small)
    assert large[0] == large[1] == "".join(dot * 2 for dot in small[0])
    assert len(large[0]) == width_of("P1-2", 2)


def test_lower_case_is_drawn_as_upper_case_and_what_is_not_drawn_is_refused():
    assert draw("P102-ring") == draw("P102-RING")
    assert not can_draw("P1\x1b")
    with pytest.raises(ValueError, match="not drawn"):
        draw("é")
