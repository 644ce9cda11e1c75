"""TOML with places: values, where they stand, and syntax faults."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness.reading.toml_text import read_toml
from benchcheck.words.errors import Place

TEXT = """\
# Größen
title = "Überschrift"  # a title
a.b = 2
[limits]
near_zero_v = 0.3
[[connectors]]
ref = "P1"
doubles = ["4",
  "5"]
[[connectors]]
  ref = "P2"
"""


def test_places_of_keys_and_values() -> None:
    text = (
        TEXT.replace("; ", "")
        + '[[links]]\nname = "ä"\n[[links.talks]]\ntx = "P1-1"\n[[links.talks]]\n"rx" = {q = 1}\n'
    )
    doc, faults = read_toml("f.toml", text)
    assert faults == []
    assert doc is not None
    assert doc.values == tomllib.loads(text)
    assert doc.place(("title",)) == Place("f.toml", 2, 9)
    assert doc.key_place(("a", "b")) == Place("f.toml", 3, 1)
    assert doc.place(("limits", "near_zero_v")) == Place("f.toml", 5, 15)
    assert doc.key_place(("connectors", 0, "doubles")) == Place("f.toml", 8, 1)
    assert doc.place(("connectors", 0, "doubles", 1)) == Place("f.toml", 9, 3)
    assert doc.place(("connectors", 1, "ref")) == Place("f.toml", 11, 9)
    assert doc.place(("links", 0, "talks", 1)) == Place("f.toml", 16, 1)
    assert doc.place(("links", 0, "talks", 1, "rx", "q")) == Place("f.toml", 17, 13)
    # what isn't there is placed at the table around it
    assert doc.key_place(("connectors", 1, "zone")) == Place("f.toml", 10, 1)
    assert doc.place(("nothing",)) == Place("f.toml", 1, 1)


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        ("x = 1,5", "1.5"),
        ("x = 24 V", "number alone: 24"),
        ("x = Survey launch", "quotes"),
        ("x = True", "true"),
        ("[limits", "brackets"),
        ("just words", "key = value"),
        ("schema = 1", "twice"),
    ],
)
def test_a_syntax_fault_has_place_and_hint(line: str, hint: str) -> None:
    doc, faults = read_toml("f.toml", f"schema = 1\n{line}\ntitle = 'x'\n")
    assert doc is None
    assert [fault.place.line for fault in faults] == [2]
    assert hint in faults[0].hint


def test_several_syntax_faults_at_once() -> None:
    doc, faults = read_toml("f.toml", 'a = 1,5\nb = 2\nc = text\n[[t]]\nd = 3 V\ne = "open\n')
    assert doc is None
    assert [fault.place.line for fault in faults] == [1, 3, 5, 6]


def test_what_would_break_the_parser_is_a_fault() -> None:
    for text in ("a = " + "[" * 5000, "a = 1" + "0" * 5000, 'a = "\\ud800"', "a = \x00", "\ud800"):
        doc, faults = read_toml("f.toml", text)
        assert doc is None
        assert faults


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=80))
@settings(max_examples=100)
def test_any_text_is_read_or_has_a_fault(text: str) -> None:
    doc, faults = read_toml("f.toml", text)
    assert (doc is None) == bool(faults)
    assert all(fault.place.line and fault.place.column for fault in faults)


@given(
    st.lists(
        st.sampled_from(["[a]", "[[a]]", "[a.b]", "[[a.b]]", "x = 1", 'y = "ü"', "z = [1, {q = 2}]", "=", "# c"]),
        max_size=8,
    )
)
@settings(max_examples=100)
def test_every_value_has_its_place(lines: list[str]) -> None:
    doc, _ = read_toml("f.toml", "\n".join(lines))
    if doc is None:
        return
    todo: list[tuple[tuple[str | int, ...], object]] = [((), doc.values)]
    while todo:
        path, value = todo.pop()
        inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
        todo += [((*path, key), item) for key, item in inner]
        if path and not isinstance(value, dict | list):
            line = doc.place(path).line
            assert line is not None
            assert "=" in lines[line - 1]
