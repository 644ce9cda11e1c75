"""The forms say the same as the model, and say it of every key."""

from __future__ import annotations

import dataclasses
from typing import get_args

import pytest

from benchcheck.harness.model import Gender, Limits, Need, PartKind, PathKind, Role
from benchcheck.harness.reading import forms, unit_forms
from benchcheck.harness.reading.hints import Guesses, did_you_mean, nearest, printable, shown, span


def values(form: type[forms.Form], field: str) -> set[str]:
    annotation = form.model_fields[field].annotation
    return set(get_args(annotation))


def test_choices_are_the_models() -> None:
    assert values(unit_forms.UnitContactForm, "role") == set(Role)
    assert values(unit_forms.UnitContactForm, "need") == set(Need)
    assert values(unit_forms.UnitPathForm, "kind") == set(PathKind)
    assert values(forms.PartForm, "kind") == set(PartKind)
    assert set(get_args(forms.GenderName)) == set(Gender)


def test_limits_are_the_models() -> None:
    assert forms.LimitsForm().model_dump() == dataclasses.asdict(Limits())


@pytest.mark.parametrize("tables", [forms.HARNESS_TABLES, unit_forms.UNIT_TABLES])
def test_every_key_is_described(tables: dict[str, type[forms.Form]]) -> None:
    for form in tables.values():
        assert form.__doc__
        for name, info in form.model_fields.items():
            assert info.description, (form, name)


def test_hints() -> None:
    assert nearest("p1", ["P1", "P2"]) == "P1"
    assert nearest("x" * 100, ["x" * 99]) == ""
    assert did_you_mean("zzz", ["a", "b"], what="Have") == "Have: a, b."
    assert did_you_mean("zzz", [f"n{i}" for i in range(50)]) == ""
    assert span([str(number) for number in range(1, 26)]) == "1 to 25"
    assert span(["A", "B"]) == "A, B"
    assert shown("a\x1b[2J") == "'a\\x1b[2J'"
    assert shown("x" * 100) == "'" + "x" * 60 + "…'"
    assert printable("a\u202eb\xa0c") == "a\\u202eb\\xa0c"
    guesses = Guesses(["P1"])
    assert guesses.hint("p1") == "Did you mean 'P1'?"
    assert all(guesses.hint(f"p{number}") is not None for number in range(1000))
    assert guesses.hint("another") == ""
