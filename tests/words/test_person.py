"""What can't be a person's name."""

from __future__ import annotations

import pytest

from benchcheck.words.person import name_fault


@pytest.mark.parametrize("name", ["Ann Example", "A. Example", "Ø", "李明", "O'Example", "Ann 2", "Val", "Ohm Example"])
def test_names(name):
    assert name_fault(name) == ""


@pytest.mark.parametrize(
    "typed", ["", "  ", "24.0", "24,0", "-5.1", "0.3 ohm", "180m", "4.7k", "24 V", "0.82A", "OL", "x" * 101]
)
def test_no_names(typed):
    assert name_fault(typed) != ""
