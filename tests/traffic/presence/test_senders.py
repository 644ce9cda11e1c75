"""Two senders of one identifier, one that is fast, and what can't be told. Common practice, no source."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from frame_rows import Row, batch_of

from benchcheck.traffic.presence.presence import UnitExpectation, UnitPresence, judge_presence, watch_of
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.traffic.tallies.watch import IdKey

S = 1_000_000_000
START = 1_700_000_000 * S
NAV = UnitExpectation("NAV", ((0x100, False, 0.1),), 1.5)
BUSY = UnitExpectation("BUSY", ((0x7, False, 0.05),), 1.5)

Data = Callable[[int], bytes]


def counter(k: int) -> bytes:
    return bytes([k & 255, 0x55, 0, 0, 0, 0, 0, 0])


def other_counter(k: int) -> bytes:
    return bytes([(k + 100) & 255, 0x55, 0, 0, 0, 0, 0, 0])


def fixed(k: int) -> bytes:
    return bytes(8)


def noise(k: int) -> bytes:
    return bytes(np.random.default_rng(k).integers(0, 256, 8, dtype=np.uint8))


def sender(
    period_s: float, offset_s: float, data: Data, *, jitter_s: float = 0.001, can_id: int = 0x100, end_s: float = 20.0
) -> list[Row]:
    random = np.random.default_rng(round(offset_s * 1e6))
    count = int((end_s - offset_s) / period_s)
    late = random.uniform(0, jitter_s, count)
    return [(START + round((offset_s + k * period_s + late[k]) * S), 0, can_id, 0, data(k)) for k in range(count)]


def judge(rows: list[Row], unit: UnitExpectation = NAV) -> list[UnitPresence]:
    expected = [unit, BUSY]
    tally = TrafficTally(START, {0: watch_of(expected)})
    tally.update(batch_of(sorted([*rows, *sender(0.05, 0.0, counter, can_id=0x7)])))
    return judge_presence(expected, tally.buses[0], start_ns=START, end_ns=START + 20 * S)


def said(found: list[UnitPresence]) -> list[tuple[str, str, str]]:
    return [(unit.unit, unit.verdict.value, unit.state.value) for unit in found]


PRESENT = [("NAV", "PASS", "present"), ("BUSY", "PASS", "present")]


@pytest.mark.parametrize("offset_s", [0.01, 0.02, 0.035, 0.065, 0.09])
@pytest.mark.parametrize("data", [fixed, noise, counter])
def test_two_senders_take_turns(offset_s: float, data: Data) -> None:
    found = judge(sender(0.1, 0.0, data) + sender(0.1, offset_s, data))
    assert said(found) == [*PRESENT, ("100", "FAIL", "unexpected")]
    assert "two senders" in found[-1].text
    assert found[-1].first_ns is not None


def test_two_senders_whose_clocks_drift_apart() -> None:
    # 0.4 % apart: in 20 s the phase goes through most of the period
    found = judge(sender(0.1, 0.0, fixed) + sender(0.1004, 0.01, fixed))
    assert said(found)[2:] == [("100", "FAIL", "unexpected")]


def test_two_senders_half_a_period_apart_are_told_by_their_counters() -> None:
    found = judge(sender(0.1, 0.0, counter) + sender(0.1, 0.05, other_counter))
    assert said(found)[2:] == [("100", "FAIL", "unexpected")]
    assert "counters" in found[-1].text


def test_a_fast_sender_is_told_by_its_counter() -> None:
    found = judge(sender(0.05, 0.0, counter))
    assert said(found) == PRESENT
    assert "one sender that is fast" in found[0].text


@pytest.mark.parametrize("data", [fixed, noise])
def test_without_a_counter_a_fast_one_and_two_half_a_period_apart_look_the_same(data: Data) -> None:
    for rows in (sender(0.05, 0.0, data), sender(0.1, 0.0, data) + sender(0.1, 0.05, data)):
        found = judge(rows)
        assert said(found) == [*PRESENT, ("100", "UNSURE", "unexpected")]
        assert "one fast sender, or two half a period apart" in found[-1].text


def test_two_frames_at_a_time_may_be_a_message_of_two_frames() -> None:
    rows = sender(0.1, 0.0, fixed, jitter_s=0.0) + sender(0.1, 0.001, fixed, jitter_s=0.0)
    found = judge(rows)
    assert said(found)[2:] == [("100", "UNSURE", "unexpected")]
    assert "message of two frames" in found[-1].text
    several = UnitExpectation("NAV", NAV.ids, 1.5, multi_frame=frozenset({IdKey(0x100, False)}))
    assert said(judge(rows, several)) == PRESENT


def test_bursts_of_a_long_message_are_no_second_sender() -> None:
    rows = [row for k in range(20) for row in sender(0.002, k * 1.0, fixed, end_s=k + 0.03)]
    slow = UnitExpectation("NAV", ((0x100, False, 1.0),), 1.5)
    found = judge(rows, slow)
    assert said(found) == PRESENT


@pytest.mark.parametrize("period_s", [0.07, 0.1, 0.2])
def test_what_comes_about_as_often_as_it_should_is_one_sender(period_s: float) -> None:
    assert said(judge(sender(period_s, 0.0, fixed, jitter_s=0.02))) == PRESENT
