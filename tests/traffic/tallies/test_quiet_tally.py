"""The intervals of a whole bus: exact where it matters, flat in memory, the same in whatever parts they came."""

from __future__ import annotations

from statistics import median

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.traffic.tallies import longest_gaps, quiet_tally
from benchcheck.traffic.tallies.longest_gaps import MOST_GAPS, Gap, LongestGaps
from benchcheck.traffic.tallies.quiet_tally import SILENCE_NS, QuietTally, told_apart

MS = 1_000_000
S = 1_000_000_000


def told(lengths: list[int], start_ns: int = 0) -> QuietTally:
    """The tally of intervals one behind the other, whose recorded clock begins at 0."""
    tally = QuietTally()
    columns = np.array(lengths, np.int64)
    stamps = start_ns + np.cumsum(columns) - columns
    tally.update(*told_apart(columns, stamps, np.full(len(lengths), -start_ns, np.int64)))
    return tally


def said(tally: QuietTally) -> object:
    return tally.threshold_ns(), tally.silences(), tally.is_cut()


LENGTHS = st.one_of(
    st.integers(0, 60 * MS), st.sampled_from([30 * MS, 30 * MS + 1, 299 * MS, SILENCE_NS, 5 * S, 50 * S])
)


@settings(max_examples=80)
@given(st.lists(LENGTHS, min_size=1, max_size=60), st.data())
def test_parts_say_what_the_whole_says(lengths: list[int], draw: st.DataObject) -> None:
    most = draw.draw(st.sampled_from([1, 5, 4096])), draw.draw(st.sampled_from([1, 3, 10_000]))
    before = quiet_tally._MOST_LENGTHS, longest_gaps.MOST_GAPS
    quiet_tally._MOST_LENGTHS, longest_gaps.MOST_GAPS = most  # so that few are too many
    try:
        whole = told(lengths)
        place = draw.draw(st.integers(0, len(lengths)))
        first, rest = told(lengths[:place]), told(lengths[place:], sum(lengths[:place]))
        first.merge(rest, sum(lengths[:place]))
        assert said(first) == said(whole)
        exact = max(SILENCE_NS, -(-10 * int(2 * median(lengths)) // 2)) if median(lengths) > 30 * MS else SILENCE_NS
        found = whole.threshold_ns()
        assert found == exact if most[0] == 4096 else exact * 0.998 <= found <= exact
        assert len(whole.silences()) <= most[1]
        kept = sorted((gap.length_ns for gap in whole.silences()), reverse=True)
        assert kept == sorted((length for length in lengths if length >= found), reverse=True)[: most[1]]
        assert whole.is_cut() == (sum(length >= found for length in lengths) > most[1])
    finally:
        quiet_tally._MOST_LENGTHS, longest_gaps.MOST_GAPS = before


def test_memory_stays_flat_on_a_slow_bus() -> None:
    random = np.random.default_rng(3)
    tally = QuietTally()
    for _ in range(5):
        lengths = random.integers(300 * MS, 1500 * MS, 20_000)
        tally.update(*told_apart(lengths, np.cumsum(lengths) - lengths, np.zeros(20_000, np.int64)))
    assert len(tally._quiet._gaps) <= 2 * MOST_GAPS
    assert tally._lengths is None
    assert tally.threshold_ns() >= 8 * S  # ten times a median of 0.9 s
    assert tally.silences() == []
    assert not tally.is_cut()


def test_a_source_that_pauses_without_end_keeps_its_longest_gaps_and_counts_all() -> None:
    gaps = LongestGaps()
    for k in range(25):
        gaps.add(Gap(n * S, n * S, 1 + n % 997) for n in range(k * 1000, (k + 1) * 1000))
    assert gaps.count == 25_000
    assert gaps.total_ns == sum(1 + n % 997 for n in range(25_000))
    kept = gaps.kept()
    assert len(kept) == MOST_GAPS
    assert min(gap.length_ns for gap in kept) >= gaps.left_out_ns > 0
    assert kept == sorted(kept, key=lambda gap: gap.recorded_ns)
