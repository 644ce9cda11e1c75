"""How late frames were."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from benchcheck.jobs.playing.lateness import Lateness


@given(st.lists(st.integers(-1000, 10**9), min_size=1, max_size=50))
def test_lateness_by_nearest_rank(late_ns: list[int]) -> None:
    """The nearest-rank percentile: the smallest value that at least that share does not exceed (textbook definition)."""
    found = Lateness()
    found.add_all(late_ns)
    ordered = sorted(max(value, 0) // 1000 for value in late_ns)
    for percent in (50, 99, 100):
        rank = -(-percent * len(ordered) // 100)
        assert found.at_ms(percent) == ordered[rank - 1] / 1000


def test_lateness_of_nothing() -> None:
    assert Lateness().to_json() == {"median_ms": None, "p99_ms": None, "max_ms": None}


@given(st.lists(st.integers(0, 10**7), min_size=1, max_size=20))
def test_one_by_one_or_all_at_once(late_ns: list[int]) -> None:
    single, together = Lateness(), Lateness()
    for value in late_ns:
        single.add(value)
    together.add_all(late_ns)
    assert single.to_json() == together.to_json()
    assert single.frames == together.frames == len(late_ns)
