from __future__ import annotations

import enum
import hashlib
import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.record.canonical import canonical_bytes, chain_start, event_hash
from benchcheck.words.errors import RecordError

GOLDEN_EVENT = {
    "seq": 1,
    "chain": "c1",
    "kind": "reading.taken",
    "who": "Ann Example",
    "at_utc": "2025-06-01T08:00:01.500000Z",
    "mono_ns": 1_500_000_000,
    "boot_id": "b1",
    "profile": "d1",
    "prev": "0" * 64,
    "body": {
        "ä": 1e-7,
        "text": 'é\n"\\ \x01',
        "reading": {"value": 0.1, "unit": "ohm"},
        "list": [1, 1.0, -0.0, None, True],
        "big": 1e16,
    },
}


def test_golden_event_is_hashed_as_the_recipe_says():
    # Written out by hand from the recipe and hashed with coreutils' `printf ... | sha256sum`, not with this program.
    assert event_hash(**GOLDEN_EVENT) == "02f4c59fa46bbe24b2bc2bd88179772d89d1c5458d908853b9fbe526c5650a2a"


def test_golden_start_of_a_chain():
    # as above: printf 'benchcheck.record/1\n{"chain":"c1","created":"...","schema":1}' | sha256sum
    start = chain_start(chain="c1", created="2025-06-01T08:00:00.000000Z", schema=1)
    assert start == "4fde265d46de15688fb71094484547273ddd4653bf11af12ba603a2b7d3b13f7"


def test_the_hash_is_sha256():
    # FIPS 180-4 example, one-block message "abc" (NIST example values)
    assert hashlib.sha256(b"abc").hexdigest() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_every_field_counts():
    base = event_hash(**GOLDEN_EVENT)
    for name, value in GOLDEN_EVENT.items():
        other = {"x": 1} if name == "body" else value + 1 if isinstance(value, int) else value + "x"
        assert event_hash(**{**GOLDEN_EVENT, name: other}) != base, name


def test_whole_and_broken_numbers_differ():
    assert canonical_bytes({"a": 1}) != canonical_bytes({"a": 1.0})


def test_tuples_enums_and_mappings_become_plain_json():
    class Word(enum.StrEnum):
        OPEN = "open"

    assert canonical_bytes({"b": (1, 2), "a": Word.OPEN}) == b'{"a":"open","b":[1,2]}'


@pytest.mark.parametrize(
    "value",
    [math.nan, math.inf, -math.inf, "\ud800", b"bytes", {1: "key"}, {"set": {1}}, object()],
)
def test_what_json_cannot_hold_exactly_is_refused_with_its_place(value):
    with pytest.raises(RecordError) as refusal:
        canonical_bytes({"reading": {"value": value}})
    assert "body" in refusal.value.where


def test_nesting_without_end_is_refused():
    deep: list[object] = []
    for _ in range(10_000):
        deep = [deep]
    with pytest.raises(RecordError, match="nested"):
        canonical_bytes(deep)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=100)
@given(json_values)
def test_what_is_read_back_is_written_the_same(value):
    written = canonical_bytes(value)
    assert canonical_bytes(json.loads(written)) == written


@settings(max_examples=50)
@given(st.dictionaries(st.text(), st.integers(), min_size=2))
def test_order_of_keys_does_not_matter(mapping):
    assert canonical_bytes(dict(reversed(mapping.items()))) == canonical_bytes(mapping)
