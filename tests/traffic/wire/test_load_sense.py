"""What is said of loads that can't be, and of loads that are a lower bound."""

from __future__ import annotations

import itertools

import pytest
from frame_rows import batch_of

from benchcheck.traffic.summary import bus_json
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.traffic.wire.load_sense import MOST_FRAME_BITS, lower_bound, peak_below_mean, too_high
from benchcheck.traffic.wire.wire_bits import wire_bit_parts
from benchcheck.words.frames import FrameFlag

S = 1_000_000_000


def bus_of(stamps: list[int], bitrate: int) -> dict[str, object]:
    tally = TrafficTally()
    tally.update(batch_of([(stamp, 0, 0x100, 0, bytes(8)) for stamp in stamps]))
    return bus_json(tally, 0, "can1", bitrate, None)


def test_no_frame_has_more_bits_than_the_slack() -> None:
    # not proved, tried: data that make a stuff bit every four bits, and every other pattern of a byte
    flags = (FrameFlag.FD | FrameFlag.EXTENDED).value
    ids = (0, 0x1FFFFFFF, 0x10F0F0F0, 0x03C3C3C3)
    rows = [(0, 0, can_id, flags, bytes([byte]) * 64) for byte, can_id in itertools.product(range(256), ids)]
    nominal, data = wire_bit_parts(batch_of(rows))
    assert 700 < int((nominal + data).max()) < MOST_FRAME_BITS


def test_half_a_load_is_nothing_to_talk_about() -> None:
    assert too_high(bus_of([k * S // 1000 for k in range(3000)], 250_000)) == ""


def test_a_wrong_bit_rate_is_told() -> None:
    said = too_high(bus_of([k * S // 1000 for k in range(3000)], 50_000))
    assert "50,000 bit/s can't be right" in said


def test_a_bus_that_is_full_is_not_called_wrong() -> None:
    bits = int(wire_bit_parts(batch_of([(0, 0, 0x100, 0, bytes(8))]))[0][0])
    # frame after frame without a pause, stamped to the nanosecond: N frames in the time of N - 1
    bus = bus_of([k * bits * S // 250_000 for k in range(6000)], 250_000)
    assert 100 < bus["load_mean_recorded_percent"] < 100.1  # type: ignore[operator]
    assert "can't be right" not in too_high(bus)
    assert "no more than one frame" in too_high(bus)


def test_two_frames_back_to_back_prove_nothing() -> None:
    bus = bus_of([0, 500_000], 250_000)
    assert bus["load_mean_recorded_percent"] > 150  # type: ignore[operator]
    assert "too short to tell" in too_high(bus)


@pytest.mark.parametrize(
    ("uncounted", "dropped", "words"),
    [
        (0, 0, ""),
        (1, 0, "the load is at least what is said: 1 record could not be counted"),
        (2, 0, "the load is at least what is said: 2 records could not be counted"),
        (0, 1, "the load is at least what is said: the recorder dropped 1 frame"),
        (3, 4, "the load is at least what is said: 3 records could not be counted and the recorder dropped 4 frames"),
    ],
)
def test_lower_bound(uncounted: int, dropped: int, words: str) -> None:
    assert lower_bound(uncounted, dropped) == words


def test_a_peak_below_the_mean_is_explained() -> None:
    # a quiet second, then half a second that is full: no whole second holds it
    bus = bus_of([0, S, *(S + k * 1_000_000 for k in range(500))], 250_000)
    assert bus["load_peak_recorded_percent"] < bus["load_mean_recorded_percent"]  # type: ignore[operator]
    assert "parts of seconds" in peak_below_mean(bus)
    assert peak_below_mean(bus_of([k * S // 1000 for k in range(3001)], 250_000)) == ""
