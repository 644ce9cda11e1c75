"""Jitter, histogram, changes of data, windows of any width, error frames: against plain loops."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from math import isqrt

import numpy as np
import pytest
from frame_rows import Row, batch_of
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.traffic.summary import bus_json
from benchcheck.traffic.tallies.error_tally import CLASSES, BusState
from benchcheck.traffic.tallies.interval_stats import BINS, IntervalStats, bin_edges_ns, bins_of
from benchcheck.traffic.tallies.key_index import KeyIndex
from benchcheck.traffic.tallies.sparse_sums import SparseSums
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.traffic.tallies.windows import Windows
from benchcheck.traffic.wire.wire_bits import wire_bits
from benchcheck.words.frames import FrameFlag

S = 1_000_000_000
MS = 1_000_000
START = 1_700_000_000 * S
KEY = IdKey(0x100, False)

ROWS = st.lists(
    st.tuples(
        st.one_of(st.integers(0, 30 * MS), st.integers(0, 3000 * S)),
        st.sampled_from([0x100, 0x101]),
        st.binary(max_size=8),
        st.booleans(),
    ),
    min_size=1,
    max_size=60,
)


def rows_of(events: list[tuple[int, int, bytes, bool]]) -> list[Row]:
    time_ns, rows = START, []
    for interval, can_id, data, remote in events:
        time_ns += interval
        rows.append((time_ns, 0, can_id, FrameFlag.REMOTE.value if remote else 0, b"" if remote else data))
    return rows


@settings(max_examples=80, deadline=None)
@given(ROWS)
def test_intervals_of_an_identifier(events: list[tuple[int, int, bytes, bool]]) -> None:
    rows = rows_of(events)
    tally = TrafficTally()
    tally.update(batch_of(rows))
    for key, source in tally.buses[0].ids.items():
        times = [row[0] for row in rows if row[2] == key.can_id]
        lengths = sorted(b - a for a, b in pairwise(times))
        stats = source.intervals
        assert (stats.count, stats.total_ns) == (len(lengths), sum(lengths))
        assert stats.squares_ns2 == sum(length * length for length in lengths)  # beyond 64 bits within seconds
        assert sum(times_met for _, times_met in stats.histogram) == len(lengths)
        for share in (Fraction(1, 2), Fraction(95, 100), Fraction(1, 1)):
            found = stats.quantile_ns(share)
            if not lengths:
                assert found is stats.deviation_ns() is None
                continue
            real = lengths[max(0, -(-len(lengths) * share.numerator // share.denominator) - 1)]
            assert found is not None
            assert abs(found - real) <= max(512, real * 0.0323)
        if lengths:
            mean = Fraction(sum(lengths), len(lengths))
            variance = sum((length - mean) ** 2 for length in lengths) / len(lengths)
            assert stats.deviation_ns() == pytest.approx(float(variance) ** 0.5, abs=2)


@given(st.integers(0, 2**63 - 1))
def test_bins_hold_their_lengths(length: int) -> None:
    (number,) = bins_of(np.array([length], np.int64)).tolist()
    low, high = bin_edges_ns(number)
    assert 1 <= number < BINS
    assert low <= length
    assert length < high or number == BINS - 1
    if 1 < number < BINS - 1:
        assert bin_edges_ns(number + 1)[0] == high
        assert high - low <= low / 16


def test_the_deviation_of_ten_years_is_whole() -> None:
    # two intervals of 10 and 20 years: the square of either is beyond 64 bits by far
    year = 365 * 86400 * S
    stats = IntervalStats(2, 30 * year, (10 * year) ** 2 + (20 * year) ** 2, ())
    assert stats.deviation_ns() == 5 * year == isqrt((5 * year) ** 2)


@settings(max_examples=80, deadline=None)
@given(ROWS)
def test_changes_of_data(events: list[tuple[int, int, bytes, bool]]) -> None:
    rows = rows_of(events)
    tally = TrafficTally()
    tally.update(batch_of(rows))
    for key in tally.buses[0].ids:
        sent = [row[4] for row in rows if row[2] == key.can_id and not row[3]]
        payload = tally.buses[0].payload(key)
        if not sent:
            assert payload is None
            continue
        assert payload is not None
        assert (payload.frames, payload.first) == (len(sent), sent[0])
        assert payload.changes == sum(a != b for a, b in pairwise(sent))
        assert (payload.shortest, payload.longest) == (min(map(len, sent)), max(map(len, sent)))
        for place in range(payload.shortest):
            values = [data[place] for data in sent]
            same = [bit for bit in range(8) if len({value >> bit & 1 for value in values}) == 1]
            assert payload.constant_mask[place] == sum(1 << bit for bit in same)
        assert len(payload.constant_mask) == payload.shortest


def test_changes_beyond_the_eighth_byte_and_an_identifier_nobody_sent() -> None:
    flags = FrameFlag.FD.value
    rows: list[Row] = [(START + k * MS, 0, 0x100, flags, bytes(20) + bytes([k % 2]) + bytes(11)) for k in range(4)]
    rows += [(START + 5 * MS, 0, 0x101, 0, b"\x01")]
    tally = TrafficTally()
    tally.update(batch_of(rows[-1:]))  # a narrow batch first
    tally.update(batch_of(rows[:4]))
    payload = tally.buses[0].payload(KEY)
    assert payload is not None
    assert payload.changes == 3
    assert payload.constant_mask == b"\xff" * 20 + b"\xfe" + b"\xff" * 11
    assert tally.buses[0].payload(IdKey(0x555, False)) is None


@settings(max_examples=50, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(-50 * MS, 400 * MS), st.integers(0, 700), st.integers(0, 300)), min_size=1, max_size=50
    ),
    st.sampled_from([1, 7 * MS, 50 * MS, 250 * MS]),
    st.integers(1, 40),
)
def test_windows_of_any_width(frames: list[tuple[int, int, int]], width_ns: int, times: int) -> None:
    stamps = START + np.cumsum([interval for interval, _, _ in frames])
    windows = Windows(START, width_ns)
    for stamp, (_, nominal, data) in zip(stamps, frames, strict=True):
        windows.update(np.array([stamp]), np.array([nominal]), np.array([data]))
    for width in (width_ns, width_ns * times, S, S * times):
        plain: dict[int, tuple[int, int]] = {}
        for stamp, (_, nominal, data) in zip(stamps.tolist(), frames, strict=True):
            number = (stamp - START) // width
            before = plain.get(number, (0, 0))
            plain[number] = (before[0] + nominal, before[1] + data)
        assert windows.by_number(width) == plain


def test_windows_that_are_not_kept_are_refused() -> None:
    windows = Windows(START, 250 * MS)
    for width in (100 * MS, 0, -S):
        with pytest.raises(ValueError, match="can't be told"):
            windows.columns(width)
    with pytest.raises(ValueError, match="width above 0"):
        Windows(START, 0)
    with pytest.raises(ValueError, match="different windows"):
        windows.merge(Windows(START, 100 * MS))


def test_windows_of_a_recording() -> None:
    rows: list[Row] = [(START + k * 10 * MS, 0, 0x100, 0, bytes(8)) for k in range(100)]
    tally = TrafficTally(window_ns=100 * MS)
    tally.update(batch_of(rows))
    one = int(wire_bits(batch_of(rows[:1]))[0])
    assert [bits.nominal for bits in tally.buses[0].load_windows.by_number(100 * MS).values()] == [10 * one] * 10


def test_sparse_sums_settle_however_much_waits() -> None:
    sums, plain = SparseSums(1), [0] * 7
    for k in range(20_000):
        sums.add(np.array([k % 7, k % 3]), np.array([1, 10]))
        plain[k % 7] += 1
        plain[k % 3] += 10
    codes, found = sums.columns()
    assert codes.tolist() == list(range(7))
    assert found[:, 0].tolist() == plain


@pytest.mark.parametrize("count", [1, 5, 300, 1499, 1501, 4000])
def test_identifiers_are_numbered_by_first_appearance(count: int) -> None:
    random = np.random.default_rng(count)
    keys = random.permutation(1 << 20)[:count].astype(np.int64) << 9
    index = KeyIndex()
    for start in range(0, count, 700):
        part = keys[start : start + 700]
        assert index.slots(np.repeat(part, 2)).tolist() == np.repeat(np.arange(start, start + len(part)), 2).tolist()
    assert index.slots(keys[::-1]).tolist() == list(range(count))[::-1]
    assert len(index) == count


# --- error frames: layout of Linux include/uapi/linux/can/error.h ---


def error(at_ms: int, classes: int, trouble: int = 0, counters: tuple[int, int] = (0, 0)) -> Row:
    return (START + at_ms * MS, 0, classes, FrameFlag.ERROR.value, bytes([0, trouble, 0, 0, 0, 0, *counters]))


def test_error_frames_by_class_and_the_state_of_the_bus() -> None:
    rows = [
        (START, 0, 0x100, 0, b"\x01"),
        error(10, 0x004, 0x08),  # CAN_ERR_CRTL: transmit warning
        error(20, 0x088),  # CAN_ERR_PROT and CAN_ERR_BUSERROR
        error(30, 0x204, 0x20, (130, 7)),  # transmit passive, with counters
        error(40, 0x004, 0x10),  # receive passive: the same state
        error(50, 0x040),  # CAN_ERR_BUSOFF
        error(60, 0x100),  # CAN_ERR_RESTARTED
        error(70, 0x004, 0x01),  # receive buffer overflow
        error(80, 0x000),
    ]
    tally = TrafficTally()
    tally.update(batch_of(rows))
    errors = tally.buses[0].errors
    assert [(change.at_ns - START, change.state) for change in errors.states] == [
        (10 * MS, BusState.WARNING),
        (30 * MS, BusState.PASSIVE),
        (50 * MS, BusState.OFF),
        (60 * MS, BusState.ACTIVE),
    ]
    said = bus_json(tally, 0, "can0", 250_000, None)
    assert said["error_frames"] == 8
    assert said["errors"] == {
        "classes": {"controller": 4, "protocol": 1, "bus_off": 1, "bus_error": 1, "restarted": 1, "counters": 1},
        "unknown": 1,
        "overflows": 1,
        "most_tx_errors": 130,
        "most_rx_errors": 7,
        "states": [
            {"at_s": 0.01, "state": "error warning"},
            {"at_s": 0.03, "state": "error passive"},
            {"at_s": 0.05, "state": "bus off"},
            {"at_s": 0.06, "state": "error active"},
        ],
    }
    assert len(CLASSES) == 10
