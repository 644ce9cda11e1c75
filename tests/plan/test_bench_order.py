"""The benchmark against the reference solver: in a short form always, in full by hand."""

from __future__ import annotations

import pytest
from bench_order import compared, field_of, measured

from benchcheck.plan.bound import least_placements
from benchcheck.plan.order import arranged, least_seconds


@pytest.mark.parametrize("seed", [0, 3])
def test_two_harnesses_are_within_a_tenth_of_the_bound(seed: int) -> None:
    field = field_of(seed)
    moves, seconds = measured(field, arranged(field, None))
    assert moves <= 1.1 * least_placements(zip(field.a, field.b, strict=True))
    assert least_seconds(field) <= seconds <= 1.1 * least_seconds(field)


@pytest.mark.long
@pytest.mark.timeout(300)
@pytest.mark.parametrize("seed", range(20))
def test_no_worse_than_the_reference_solver_given_60_s(seed: int) -> None:
    pytest.importorskip("ortools")
    found = compared(seed, 60)
    assert found.ours[1] <= found.theirs[1]
    assert found.ours[0] <= 1.1 * found.least_moves
