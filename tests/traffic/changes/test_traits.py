"""Intervals and data of each identifier: the same in any cut and any merge, and the same as counted one by one."""

from __future__ import annotations

from collections import defaultdict
from statistics import fmean, stdev

import numpy as np
import pytest
from frame_rows import Row, batch_of, cut
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.traffic.changes.interval_bins import BIN_BITS, Bins, bin_of, bin_sums, bins_of, edge_of
from benchcheck.traffic.changes.traits import Traits
from benchcheck.traffic.tallies.interval_stats import BINS
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.frames import FrameFlag

MS = 1_000_000
HOUR = 3600 * 10**9

ROWS = st.lists(
    st.tuples(
        st.sampled_from([0, 1, 50, MS, 40 * MS, 299_999_999, 300_000_000, HOUR, HOUR + 1, -1, -5 * MS]),
        st.integers(0, 1),
        st.sampled_from([0x10, 0x11]),
        st.sampled_from([0, FrameFlag.EXTENDED, FrameFlag.REMOTE, FrameFlag.ERROR, FrameFlag.FD]),
        st.binary(max_size=3),
    ),
    max_size=40,
)


def rows_of(steps: list[tuple[int, int, int, int, bytes]]) -> list[Row]:
    time_ns, rows = 10**18, []
    for step, bus, can_id, flags, data in steps:
        time_ns += step
        rows.append((time_ns, bus, can_id, int(flags), b"" if flags == FrameFlag.REMOTE else data))
    return rows


def traits_of(rows: list[Row], cuts: list[int]) -> Traits:
    traits = Traits()
    for start, end in zip([0, *cuts], [*cuts, len(rows)], strict=True):
        traits.update(cut(batch_of(rows), start, end))
    return traits


@given(ROWS, st.lists(st.integers(0, 40), max_size=5))
@settings(max_examples=80, deadline=None)
def test_any_cut_and_any_merge_give_the_same(steps: list[tuple[int, int, int, int, bytes]], places: list[int]) -> None:
    rows = rows_of(steps)
    whole = traits_of(rows, []).as_values()
    cuts = sorted(min(place, len(rows)) for place in places)
    assert traits_of(rows, cuts).as_values() == whole
    parts = [traits_of(rows[a:b], []) for a, b in zip([0, *cuts], [*cuts, len(rows)], strict=True)]
    middle = len(parts) // 2
    left, right = Traits(), Traits()
    for part in parts[:middle]:
        left.merge(part)
    for part in parts[middle:]:
        right.merge(part)
    left.merge(right)
    assert left.as_values() == whole


@given(ROWS)
@settings(max_examples=80, deadline=None)
def test_against_counting_one_by_one(steps: list[tuple[int, int, int, int, bytes]]) -> None:
    rows = rows_of(steps)
    traits = traits_of(rows, [])
    for bus in (0, 1):
        last: dict[IdKey, int] = {}
        plain, over = defaultdict(list), defaultdict(list)
        since: dict[IdKey, tuple[bool, bool]] = {}  # whether the clock stepped, the bus paused, since its last frame
        data = defaultdict(list)
        before = None
        for time_ns, _, can_id, flags, payload in (row for row in rows if row[1] == bus):
            step = before is not None and not 0 <= time_ns - before <= HOUR
            pause = before is not None and not step and time_ns - before >= 300 * MS
            before = time_ns
            since = {key: (stepped or step, paused or pause) for key, (stepped, paused) in since.items()}
            if flags & FrameFlag.ERROR:
                continue
            key = IdKey(can_id, bool(flags & FrameFlag.EXTENDED))
            if key in last and not since[key][0]:
                (over if since[key][1] else plain)[key].append(time_ns - last[key])
            last[key], since[key] = time_ns, (False, False)
            if not flags & FrameFlag.REMOTE:
                data[key].append(payload)
        seen = traits.buses[bus].senders if bus in traits.buses else {}
        assert set(seen) == set(last)
        for key, sender in seen.items():
            for bins, intervals in ((sender.intervals, plain[key]), (sender.over_pauses, over[key])):
                by_bin = defaultdict(list)
                for interval in intervals:
                    by_bin[bin_of(interval)].append(interval)
                squares = {number: sum((one - edge_of(number)) ** 2 for one in both) for number, both in by_bin.items()}
                assert bins.counts == {n: (len(both), sum(both), squares[n]) for n, both in by_bin.items()}
            width = max((len(payload) for payload in data[key]), default=0)
            columns = [[payload[k] for payload in data[key] if len(payload) > k] for k in range(width)]
            assert sender.low == [min(column) for column in columns]
            assert sender.high == [max(column) for column in columns]
            if not any(row[3] & FrameFlag.REMOTE for row in rows):  # places count all frames
                firsts = [[payload[k] if len(payload) > k else None for payload in data[key]] for k in range(width)]
                assert sender.low_at == [first.index(low) for first, low in zip(firsts, sender.low, strict=True)]
                assert sender.high_at == [first.index(high) for first, high in zip(firsts, sender.high, strict=True)]
            assert sender.data_frames == len(data[key])


@given(st.integers(1024, HOUR))
@settings(max_examples=200)
def test_a_bin_is_a_sixteenth_wide(interval: int) -> None:
    low, above = edge_of(bin_of(interval)), edge_of(bin_of(interval) + 1)
    assert low <= interval < above
    assert above - low <= interval / 16
    assert bins_of(np.array([interval]))[0] == bin_of(interval)
    assert BINS.bit_length() <= BIN_BITS


@given(st.lists(st.integers(0, HOUR), min_size=1, max_size=30))
@settings(max_examples=50)
def test_sums_of_bins_are_those_of_their_intervals_one_by_one(intervals: list[int]) -> None:
    column = np.sort(np.array(intervals, np.int64))
    numbers = bins_of(column)
    starts = np.flatnonzero(np.concatenate(([True], numbers[1:] != numbers[:-1])))
    whole, single = Bins(), Bins()
    for number, sums in zip(numbers[starts].tolist(), bin_sums(numbers, column, starts), strict=True):
        whole.add_bin(number, sums)
    for interval in intervals:
        single.add(interval)
    assert whole == single


@given(st.lists(st.integers(MS, 2 * MS), min_size=2, max_size=30))
@settings(max_examples=50)
def test_mean_and_deviation(intervals: list[int]) -> None:
    bins = Bins()
    for interval in intervals:
        bins.add(interval)
    bins.add(100 * MS)
    found = bins.ordinary(50 * MS)
    assert found.number == len(intervals)
    assert found.mean_ns == pytest.approx(fmean(intervals))  # the standard library's statistics
    assert found.deviation_ns == pytest.approx(stdev(intervals), abs=1.0)
    assert bins.gaps(50 * MS) == (1, edge_of(bin_of(100 * MS)))
