"""Sums by code: the same as adding them up one by one, whatever comes in which order, and small where codes go on."""

from __future__ import annotations

import tracemalloc
from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.traffic.tallies import sparse_sums
from benchcheck.traffic.tallies.sparse_sums import SparseSums

CODES = st.integers(-40, 40) | st.integers(-(1 << 62), 1 << 62)
SUMS = st.integers(0, 300) | st.integers(-(1 << 40), 1 << 40) | st.just(0)
ADDED = st.lists(st.lists(st.tuples(CODES, SUMS, SUMS), max_size=12), max_size=12)


def added(sums: SparseSums, rows: list[tuple[int, int, int]]) -> None:
    table = np.array(rows, np.int64).reshape(-1, 3)
    sums.add(table[:, 0], table[:, 1:])


@given(parts=ADDED, ascending=st.booleans(), looked_at=st.sets(st.integers(0, 11)), cut=st.integers(0, 12))
@settings(max_examples=150, deadline=None)
@pytest.mark.parametrize("few", [1, 3, 16_384])
def test_any_order_any_cut(
    parts: list[list[tuple[int, int, int]]], ascending: bool, looked_at: set[int], cut: int, few: int
) -> None:
    if ascending:
        flat = sorted(row for part in parts for row in part)
        parts = [flat[start : start + 5] for start in range(0, len(flat), 5)]
    wanted: dict[int, list[int]] = defaultdict(lambda: [0, 0])
    before = sparse_sums._FEW
    sparse_sums._FEW = few
    try:
        earlier, later = SparseSums(2), SparseSums(2)
        for number, part in enumerate(parts):
            mine = earlier if number < cut else later
            added(mine, part)
            if number in looked_at:
                mine.columns()
            for code, one, two in part:
                wanted[code][0] += one
                wanted[code][1] += two
        earlier.merge(later)
        codes, sums = earlier.columns()
        pieces = [codes.tolist() for codes, _ in earlier.pieces()]
    finally:
        sparse_sums._FEW = before
    assert dict(zip(codes.tolist(), sums.tolist(), strict=True)) == dict(wanted)
    assert codes.tolist() == sorted(wanted) == [code for piece in pieces for code in piece]


def test_the_seconds_of_a_month_are_few_bytes() -> None:
    sums = SparseSums(2)
    tracemalloc.start()
    try:
        for start in range(0, 30 * 86_400, 20_000):
            codes = np.arange(start, start + 20_001)  # a second that a batch ends in comes again with the next one
            sums.add(codes, np.stack((np.full(len(codes), 400), np.zeros(len(codes), np.int64)), axis=1))
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 4 * 30 * 86_400  # 32 bytes a second as plain columns with what waits
    count = total = 0
    for codes, bits in sums.pieces():
        count += len(codes)
        total += int(bits[:, 0].sum())
    batches = len(range(0, 30 * 86_400, 20_000))
    assert (count, total) == (batches * 20_000 + 1, batches * 20_001 * 400)
