"""The pieces of a recording between cuts of its clock, against plain loops; any cut into parts says the same."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from frame_rows import Row, batch_of
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.traffic.summary import bus_json, duration_json
from benchcheck.traffic.tallies import pieces
from benchcheck.traffic.tallies.pieces import STEP_FORWARD_NS, WINDOW_NS, Pieces, PieceSums, WindowBits
from benchcheck.traffic.tallies.traffic_tally import TrafficTally

MS = 1_000_000
S = 1_000_000_000
START = 1_700_000_000 * S
FLIP = 1 << 36  # ns, 68.7 s: one wrong bit of a stamp in nanoseconds

# (interval before the frame, bits of the frame)
Event = tuple[int, int, int]

INTERVALS = st.one_of(
    st.integers(0, 40 * MS),
    st.integers(100 * MS, 2500 * MS),
    st.sampled_from([S, 2 * S, S - 1, S + 1, -1, -5 * MS, -S, -3 * S, FLIP, -FLIP, FLIP + 10 * MS, 10 * MS - FLIP]),
    st.sampled_from([STEP_FORWARD_NS, STEP_FORWARD_NS + 1, 10 * 365 * 86400 * S, -10 * 365 * 86400 * S]),
)
EVENTS = st.lists(st.tuples(INTERVALS, st.integers(0, 700), st.sampled_from([0, 0, 0, 300])), min_size=1, max_size=40)


def columns(events: list[Event]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    stamps = START + np.cumsum(np.array([event[0] for event in events], np.int64))
    return stamps, np.array([event[1] for event in events]), np.array([event[2] for event in events])


def sums_of(events: list[Event]) -> PieceSums:
    pieces = Pieces()
    pieces.update(*columns(events))
    return pieces.sums()


def plain(events: list[Event]) -> tuple[list[list[tuple[int, int, int]]], list[int]]:
    """Pieces as lists of (stamp, nominal bits, data bits), and the intervals that are no cut, by a plain loop."""
    stamps = [int(stamp) for stamp in columns(events)[0]]
    between = [b - a for a, b in pairwise(stamps)]
    pieces = [[(stamps[0], *events[0][1:])]]
    sound = []
    for k, length in enumerate(between):
        beside = [between[j] for j in (k - 1, k + 1) if 0 <= j < len(between)]
        step = length < 0 or length > STEP_FORWARD_NS
        if step or any(other < 0 and length + other >= 0 for other in beside):
            pieces.append([])
        else:
            sound.append(length)
        pieces[-1].append((stamps[k + 1], *events[k + 1][1:]))
    return pieces, sound


def plain_windows(events: list[Event]) -> list[tuple[int, int]]:
    """Bits (nominal, data) of every whole window of every piece, the empty ones too."""
    found = []
    for piece in plain(events)[0]:
        begin, end = piece[0][0], piece[-1][0]
        at = begin
        while at + WINDOW_NS <= end:
            inside = [frame for frame in piece if at <= frame[0] < at + WINDOW_NS]
            found.append((sum(frame[1] for frame in inside), sum(frame[2] for frame in inside)))
            at += WINDOW_NS
    return found


# a plain loop over windows of silences of an hour is slow, so the longest ones are left out here
@settings(max_examples=150, deadline=None)
@given(EVENTS.map(lambda events: [e if e[0] != STEP_FORWARD_NS else (5 * S, *e[1:]) for e in events]))
def test_a_plain_loop_gives_the_same_pieces_and_windows(events: list[Event]) -> None:
    sums = sums_of(events)
    pieces, sound = plain(events)
    windows = plain_windows(events)
    assert sums.span_ns == sum(sound) == sum(piece[-1][0] - piece[0][0] for piece in pieces)
    assert sums.cuts == len(pieces) - 1
    assert sums.whole_windows == len(windows)
    assert sums.whole_bits == (sum(w[0] for w in windows), sum(w[1] for w in windows))
    for slow, fast in ((1, 1), (1, 8), (8, 1), (1, 0)):  # whatever the two bit rates are
        best = max((w[0] * slow + w[1] * fast for w in windows), default=0)
        assert max((w.bits.nominal * slow + w.bits.data * fast for w in sums.fullest), default=0) == best


@settings(max_examples=150, deadline=None)
@given(EVENTS)
def test_what_holds_between_mean_and_peak(events: list[Event]) -> None:
    """The peak is never below the load of all whole windows together. The mean also holds what lies behind the last
    whole window of each piece; where nothing lies there but a frame at its very end, the peak is not below the mean
    of the rest. Nor is it ever below the mean by more than those bits."""
    sums = sums_of([(interval, bits, 0) for interval, bits, _ in events])
    if not sums.whole_windows:
        assert sums.fullest == ()
        return
    peak = max((w.bits.nominal for w in sums.fullest), default=0)
    assert peak * sums.whole_windows >= sums.whole_bits.nominal
    total = sum(bits for _, bits, _ in events)
    outside = total - sums.whole_bits.nominal
    # mean x span <= peak x whole windows + bits outside, and the span is at least the whole windows
    assert total <= peak * sums.span_ns / WINDOW_NS + outside


@settings(max_examples=150, deadline=None)
@given(EVENTS, st.data())
def test_any_cut_and_any_tree_of_merges_says_the_same(events: list[Event], data: st.DataObject) -> None:
    stamps, nominal, fast = columns(events)
    places = sorted(data.draw(st.lists(st.integers(0, len(events)), max_size=8)))
    edges = list(zip([0, *places], [*places, len(events)], strict=True))
    piecewise, parts = Pieces(), []
    for number, (start, end) in enumerate(edges):
        piecewise.update(stamps[start:end], nominal[start:end], fast[start:end])
        part = Pieces(is_part=number > 0 or data.draw(st.booleans()))
        part.update(stamps[start:end], nominal[start:end], fast[start:end])
        parts.append(part)
        piecewise.sums()  # looking at it changes nothing
    assert piecewise.sums() == sums_of(events)
    while len(parts) > 1:
        left = data.draw(st.integers(0, len(parts) - 2))
        parts[left].merge(parts.pop(left + 1))
    assert parts[0].sums() == sums_of(events)


def test_what_began_a_recording_follows_nothing() -> None:
    with pytest.raises(ValueError, match="began a recording"):
        Pieces().merge(Pieces())
    first, second = TrafficTally(), TrafficTally()
    for tally in (first, second):
        tally.update(batch_of([(START, 0, 0x100, 0, b"")]))
    with pytest.raises(ValueError, match="began a recording"):
        first.merge(second)


def steady(count: int, start_ns: int = START, period_ns: int = 10 * MS) -> list[Row]:
    return [(start_ns + k * period_ns, 0, 0x100, 0, bytes(8)) for k in range(count)]


@pytest.mark.parametrize("offset", [FLIP, -FLIP])
@pytest.mark.parametrize("at", [1, 250, 298])
def test_a_flipped_bit_of_one_stamp_does_not_stretch_the_recorded_time(offset: int, at: int) -> None:
    rows = steady(300)
    rows[at] = (rows[at][0] + offset, *rows[at][1:])
    tally = TrafficTally()
    tally.update(batch_of(rows))
    # the two intervals beside the wrong stamp are not known: 2.97 s of 2.99 s
    assert duration_json(tally) == {"duration_s": 2.99, "recorded_s": 2.97}
    bus = bus_json(tally, 0, "can1", 250_000, None)
    expected = 100 * tally.buses[0].wire_bits / 2.97 / 250_000
    assert bus["load_mean_recorded_percent"] == pytest.approx(expected, abs=1e-6)
    assert len(bus["clock_steps"]) == 1  # type: ignore[arg-type] # by the letter: only the stamp that goes back


def test_a_flipped_bit_leaves_the_fullest_second() -> None:
    rows = steady(300)
    rows[150] = (rows[150][0] - FLIP, *rows[150][1:])
    tally = TrafficTally()
    tally.update(batch_of(rows))
    bus = bus_json(tally, 0, "can1", 250_000, None)
    one = tally.buses[0].wire_bits / 300
    assert bus["load_peak_recorded_percent"] == pytest.approx(100 * 100 * one / 250_000)
    assert bus["peak_recorded_at_s"] == 0.0
    assert bus["pieces"] == 3


def test_windows_start_at_the_first_stamp_of_each_piece() -> None:
    # 0.5 s, a jump of two hours, then 1.2 s of which the first second is the fullest of all whole ones
    rows = steady(51) + steady(121, START + 7200 * S + 300 * MS)
    tally = TrafficTally()
    tally.update(batch_of(rows))
    bus = bus_json(tally, 0, "can1", 250_000, None)
    one = tally.buses[0].wire_bits / len(rows)
    assert bus["load_peak_recorded_percent"] == pytest.approx(100 * 100 * one / 250_000)
    assert bus["peak_recorded_at_s"] == 7200.3
    assert duration_json(tally)["recorded_s"] == 1.7
    assert bus["load_mean_recorded_percent"] == pytest.approx(100 * 172 * one / 1.7 / 250_000, abs=1e-6)


def test_no_piece_of_a_second_has_no_recorded_peak() -> None:
    rows = steady(90) + steady(90, START - 50 * S) + steady(90, START + 50_000 * S)
    tally = TrafficTally()
    tally.update(batch_of(rows))
    bus = bus_json(tally, 0, "can1", 250_000, None)
    assert bus["load_peak_recorded_percent"] is bus["peak_recorded_at_s"] is None
    assert bus["load_mean_recorded_percent"] > 0  # type: ignore[operator]
    assert duration_json(tally)["recorded_s"] == 2.67


def test_a_bus_without_a_cut_beside_one_that_has_cuts_goes_by_its_own_span() -> None:
    slow: list[Row] = [(START + k * 100 * MS, 1, 0x200, 0, b"") for k in range(21)]
    rows = sorted(steady(200) + slow) + steady(200, START + 50_000 * S)
    tally = TrafficTally()
    tally.update(batch_of(rows))
    bus = bus_json(tally, 1, "can2", 250_000, None)
    assert bus["pieces"] == 1
    assert bus["load_mean_recorded_percent"] == pytest.approx(100 * tally.buses[1].wire_bits / 2.0 / 250_000, abs=1e-6)


def test_buses_one_after_the_other_in_the_file_are_no_clock_step() -> None:
    second: list[Row] = [(row[0], 1, *row[2:]) for row in steady(200)]
    tally = TrafficTally()
    tally.update(batch_of(steady(300) + second))
    assert duration_json(tally)["recorded_s"] == 2.99
    assert bus_json(tally, 0, "can1", 250_000, None)["clock_steps"] == []


def test_frames_at_two_rates_keep_the_windows_that_may_be_the_fullest() -> None:
    events: list[Event] = [(0, 500, 0), (900 * MS, 0, 0), (100 * MS, 100, 400), (999 * MS, 0, 0), (MS, 90, 300)]
    events += [(S, 0, 0), (-S, 0, 0)]
    sums = sums_of(events)
    assert [window.bits for window in sums.fullest] == [WindowBits(500, 0), WindowBits(100, 400)]
    assert [window.start_ns - START for window in sums.fullest] == [0, S]


def test_of_many_buses_each_is_summed_up_once(monkeypatch: pytest.MonkeyPatch) -> None:
    # whether any bus has a cut is asked for each bus: a thousand of them took minutes
    calls = 0
    finished = pieces._Running.finished

    def counted(self: pieces._Running) -> PieceSums:
        nonlocal calls
        calls += 1
        return finished(self)

    monkeypatch.setattr(pieces._Running, "finished", counted)
    tally = TrafficTally()
    tally.update(batch_of([(START + k * MS, k % 40, 0x100, 0, b"") for k in range(200)]))
    names = [f"can{number}" for number in range(40)]
    before = [bus_json(tally, number, name, 250_000, None) for number, name in enumerate(names)]
    assert calls == 40
    # what comes behind is in the sums all the same
    tally.update(batch_of([(START + S + k * MS, k % 40, 0x100, 0, b"") for k in range(200)]))
    after = bus_json(tally, 0, "can0", 250_000, None)
    assert after["load_mean_recorded_percent"] != before[0]["load_mean_recorded_percent"]
    assert after["load_mean_recorded_percent"] == after["load_mean_percent"]
