"""What a signal's tally counts: against a plain walk over the frames, in any cut and any tree of merges."""

from __future__ import annotations

import math
import struct
from dataclasses import asdict, replace
from itertools import pairwise
from typing import Any

import pytest
from frame_rows import Row, batch_of, cut
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness.model import Message, SignalRange
from benchcheck.traffic.signals.signal_ranges import (
    SignalVerdict,
    judge_signal,
    signal_json,
    signal_watch,
    wanted_signals,
)
from benchcheck.traffic.signals.signal_tallies import with_signals
from benchcheck.traffic.signals.signal_tally import SignalTally
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.traffic.tallies.watch import IdKey, SignalWatch, Watch
from benchcheck.words.frames import FrameFlag
from benchcheck.words.signal import Field, Selector, Signal
from benchcheck.words.verdict import Outcome

S, MS = 1_000_000_000, 1_000_000
START = 1_700_000_000 * S
KEY = IdKey(0x120, False)
COUNT = Signal("Count", Field(0, 8))
TEMPERATURE = Signal("Temperature", Field(8, 8, signed=True), 0.5, -10.0, "degC")
PAGED = Signal("Paged", Field(16, 8), when=(Selector(Field(0, 1), (1,)),))
GAP_NS = 2 * S
WATCHED = tuple(SignalWatch(KEY, signal, GAP_NS) for signal in (COUNT, TEMPERATURE, PAGED))

ROWS = st.lists(
    st.tuples(
        st.sampled_from([100 * MS, 100 * MS, 100 * MS, 0, 2 * S, 2 * S + 1, -5 * S]),
        st.sampled_from([(KEY.can_id, 0), (KEY.can_id, 0), (KEY.can_id, FrameFlag.EXTENDED.value), (0x121, 0)]),
        st.sampled_from([b"\x01\x05\x07", b"\x01\x05\x07", b"\x01\xf5\x07", b"\x00\x05\x09", b"\x01", b""]),
    ),
    min_size=1,
    max_size=30,
)


def rows_of(drawn: list[tuple[int, tuple[int, int], bytes]]) -> list[Row]:
    rows: list[Row] = []
    time_ns = START
    for interval, (can_id, flags), data in drawn:
        time_ns += interval
        rows.append((time_ns, 0, can_id, flags, data))
    return rows


def plain(signal: Signal, rows: list[Row]) -> dict[str, Any]:
    """The same counted frame by frame, for whole bytes."""
    place = signal.field.first_byte
    samples = []
    short = 0
    for time_ns, _, can_id, flags, data in rows:
        if (can_id, flags) != (KEY.can_id, 0):
            continue
        if len(data) <= place:
            short += 1
        elif not signal.when or data[0] & 1:
            raw = data[place]
            samples.append((time_ns, raw - 256 if signal.field.signed and raw > 127 else raw))
    if not samples:
        return {"count": 0, "too_short": short}
    seen = 0
    runs: list[list[int]] = []  # raw, from, length
    for number, (time_ns, raw) in enumerate(samples):
        between = time_ns - samples[number - 1][0] if number else 0
        between = between if 0 <= between <= GAP_NS else 0
        seen += between
        if runs and runs[-1][0] == raw:
            runs[-1][2] += between
        else:
            runs.append([raw, time_ns, 0])
    low, high = min(raw for _, raw in samples), max(raw for _, raw in samples)
    longest = max(runs, key=lambda entry: entry[2])
    return {
        "count": len(samples),
        "too_short": short,
        "low": (low, next(at for at, raw in samples if raw == low)),
        "high": (high, next(at for at, raw in samples if raw == high)),
        "seen_ns": seen,
        "changes": len(runs) - 1,
        "longest": tuple(longest),
    }


def told(tally: SignalTally) -> dict[str, Any]:
    found: dict[str, Any] = {"count": tally.count, "too_short": tally.too_short}
    if (spread := tally.spread) is not None:
        found["low"], found["high"] = (spread.low, spread.low_ns), (spread.high, spread.high_ns)
        found["seen_ns"], found["changes"] = spread.seen_ns, spread.changes
        found["longest"] = (spread.longest.raw, spread.longest.from_ns, spread.longest.length_ns)
    return found


def traffic(origin_ns: int | None = None) -> TrafficTally:
    return TrafficTally(origin_ns, {0: with_signals(Watch(), WATCHED)})


def all_of(tally: TrafficTally) -> list[object]:
    found = [tally.buses[0].signals.of(KEY, entry.signal) for entry in WATCHED]
    return [(one.count, one.too_short, one.spread and asdict(one.spread)) for one in found]


@settings(max_examples=100)
@given(ROWS, st.data())
def test_any_cut_and_any_merge_tell_what_a_plain_walk_tells(
    drawn: list[tuple[int, tuple[int, int], bytes]], data: st.DataObject
) -> None:
    rows = rows_of(drawn)
    batch = batch_of(rows)
    whole = traffic()
    whole.update(batch)
    for entry in WATCHED:
        assert told(whole.buses[0].signals.of(KEY, entry.signal)) == plain(entry.signal, rows)
    places = [0, *sorted(data.draw(st.lists(st.integers(0, len(rows)), max_size=5))), len(rows)]
    parts = []
    fed = traffic()
    for begin, end in pairwise(places):
        fed.update(cut(batch, begin, end))
        fed.buses  # noqa: B018 - looked at: so what waits is counted at this cut
        parts.append(traffic(START + drawn[0][0]))
        parts[-1].update(cut(batch, begin, end))
    assert all_of(fed) == all_of(whole)
    while len(parts) > 1:
        left = data.draw(st.integers(0, len(parts) - 2))
        parts[left].merge(parts.pop(left + 1))
    assert all_of(parts[0]) == all_of(whole)


def test_tallies_of_different_signals_are_not_merged() -> None:
    with pytest.raises(ValueError, match="different"):
        SignalTally(COUNT, GAP_NS).merge(SignalTally(TEMPERATURE, GAP_NS))


@pytest.mark.parametrize("order", [1, -1])
def test_floats_keep_their_order_as_integers(order: int) -> None:
    signal = Signal("F", Field(0, 32, is_float=True))
    values = [-math.inf, -1e30, -1.5, -1e-40, 0.0, 1e-40, 2.25, 1e30, math.inf][::order]
    tally = tallied(signal, [struct.pack("<f", value) for value in values])
    assert tally.spread is not None
    assert (tally.value(tally.spread.low), tally.value(tally.spread.high)) == (-math.inf, math.inf)
    for value in values:
        one = tallied(signal, [struct.pack("<f", value)])
        assert one.spread is not None
        assert one.value(one.spread.low) == struct.unpack("<f", struct.pack("<f", value))[0]


# --- judging -------------------------------------------------------------------------------------------------------


def tallied(signal: Signal, payloads: list[bytes], every_ns: int = 100 * MS, gap_ns: int = GAP_NS) -> SignalTally:
    tally = TrafficTally(None, {0: Watch(signals=(SignalWatch(KEY, signal, gap_ns),))})
    tally.update(batch_of([(START + k * every_ns, 0, KEY.can_id, 0, data) for k, data in enumerate(payloads)]))
    return tally.buses[0].signals.of(KEY, signal)


def judged(
    signal: Signal,
    payloads: list[bytes],
    low: float | None = None,
    high: float | None = None,
    stuck_s: float | None = None,
    dropped: int = 0,
) -> SignalVerdict:
    expected = SignalRange("can1", Message(KEY.can_id, False, "WATER", "SVP", 0.1), signal, low, high, stuck_s)
    tally = tallied(signal, payloads)
    verdict = judge_signal(expected, tally, origin_ns=START, dropped=dropped)
    assert signal_json(verdict, tally)["verdict"] == verdict.outcome.value
    return verdict


def degrees(*values: float) -> list[bytes]:
    return [bytes([0, int((value + 10) / 0.5) & 0xFF]) for value in values]


def test_a_value_out_of_its_range_fails_with_when_it_was() -> None:
    found = judged(TEMPERATURE, degrees(4.0, 4.5, 40.0, 5.0), low=-4.0, high=32.0)
    assert (found.outcome, found.state, found.worst) == (Outcome.FAIL, "absurd", 40.0)
    assert found.text == ("WATER.Temperature was 40 degC at 0.200 s: at least -4 degC, at most 32 degC is expected")
    found = judged(TEMPERATURE, degrees(40.0, -30.0), low=-4.0, high=32.0)
    assert found.worst == -30.0  # 26 below is farther out than 8 above


def test_at_its_limits_a_value_is_within_them() -> None:
    found = judged(TEMPERATURE, degrees(-4.0, 32.0), low=-4.0, high=32.0)
    assert (found.outcome, found.state) == (Outcome.PASS, "in_range")
    assert "-4 degC to 32 degC in 2 frames" in found.text


def test_a_factor_below_zero_turns_lowest_and_highest_round() -> None:
    turned = Signal("Depth", Field(0, 8), -1.0, 0.0, "m")
    assert judged(turned, [b"\x05", b"\x50"], low=-60.0).worst == -80.0
    assert judged(turned, [b"\x05", b"\x50"], high=-6.0).worst == -5.0


def test_what_is_no_number_is_absurd() -> None:
    signal = Signal("F", Field(0, 32, is_float=True), unit="m")
    found = judged(signal, [struct.pack("<f", 1.0), bytes.fromhex("0000c07f")], low=0.0, high=2.0)
    assert (found.outcome, found.state) == (Outcome.FAIL, "absurd")
    assert "was no number at 0.100 s" in found.text


def test_a_value_that_stands_still_for_too_long_is_stuck() -> None:
    found = judged(TEMPERATURE, degrees(4.0, *[5.0] * 21, 6.0), stuck_s=2.0)
    assert (found.outcome, found.state, found.worst) == (Outcome.FAIL, "stuck", 5.0)
    assert "stayed at 5 degC for 2.000 s from 0.100 s on" in found.text
    found = judged(TEMPERATURE, degrees(4.0, *[5.0] * 20, 6.0), stuck_s=2.0)
    assert (found.outcome, found.state) == (Outcome.PASS, "in_range")


def test_standing_still_for_less_than_that_tells_nothing() -> None:
    found = judged(TEMPERATURE, degrees(*[5.0] * 20), stuck_s=2.0)
    assert (found.outcome, found.state) == (Outcome.UNSURE, "too_few")


def test_while_nothing_comes_nothing_stands_still() -> None:
    tally = tallied(COUNT, [b"\x01"] * 5, every_ns=GAP_NS + 1)
    expected = SignalRange("can1", Message(KEY.can_id, False, "WATER", "SVP", 0.1), COUNT, stuck_s=2.0)
    assert judge_signal(expected, tally, origin_ns=START).state == "too_few"


def test_what_was_not_heard_is_unsure() -> None:
    assert judged(COUNT, [b""] * 3, low=0.0).state == "not_heard"
    found = judged(TEMPERATURE, [b"\x01"] * 3, low=0.0)
    assert (found.outcome, found.state) == (Outcome.UNSURE, "not_heard")
    assert "in none of 3 frames" in found.text


def test_dropped_frames_may_hold_the_change_or_the_absurd_value() -> None:
    still, moving = degrees(*[5.0] * 30), degrees(4.0, 5.0)
    assert judged(TEMPERATURE, still, stuck_s=2.0, dropped=1).state == "dropped"
    assert judged(TEMPERATURE, moving, low=0.0, dropped=1).outcome is Outcome.UNSURE
    assert judged(TEMPERATURE, moving, low=4.5, dropped=1).outcome is Outcome.FAIL  # that one was there


def test_how_long_a_message_may_stay_away() -> None:
    def gap(period_s: float | None) -> int:
        return signal_watch(Message(1, False, "A", "", period_s), COUNT).gap_ns

    assert [gap(0.05), gap(1.0), gap(None)] == [S, 3 * S, 10 * S]


def test_nothing_is_watched_where_the_profile_expects_nothing() -> None:
    from model_bench import shipped

    harness = shipped("survey_launch")[0]
    assert wanted_signals(replace(harness, signals=()), harness.buses[0]) == ()
    assert len(wanted_signals(harness, harness.buses[0])) == len(harness.signals) > 8
