"""When a line was silent, by its own rhythm. The rule is ours; its numbers are common practice, no source."""

from __future__ import annotations

from itertools import pairwise
from statistics import median_low

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.traffic.lines import line_silences
from benchcheck.traffic.lines.line_silences import LineGap, LineSilences
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.summary import line_json

S = 1_000_000_000
MS = 1_000_000
START = 1_700_000_000 * S


def fed(stamps: list[int]) -> LineSilences:
    found = LineSilences()
    for before, after in pairwise(stamps):
        found.between(before, after)
    return found


def bursts(period_ns: int, reads: int, until_ns: int, start_ns: int = START) -> list[int]:
    """A burst of reads 20 ms apart at every period."""
    return [start_ns + at + k * 20 * MS for at in range(0, until_ns, period_ns) for k in range(reads)]


@pytest.mark.parametrize("reads", [1, 8, 25])
def test_the_pauses_between_bursts_are_no_silences(reads: int) -> None:
    assert fed(bursts(S, reads, 600 * S)).silences() == []
    assert fed(bursts(10 * S, reads, 3600 * S)).silences() == []


def test_a_burst_that_does_not_come_is_a_silence_after_the_third_pause() -> None:
    stamps = bursts(S, 8, 60 * S) + bursts(S, 8, 60 * S, START + 63 * S)
    (gap,) = fed(stamps).silences()
    assert gap == LineGap(START + 59 * S + 140 * MS, 3 * S + 860 * MS)
    assert fed(stamps).threshold_ns() == 3 * 860 * MS
    assert fed(bursts(S, 8, 60 * S) + bursts(S, 8, 60 * S, START + 61 * S)).silences() == []  # one that is late


def test_a_stream_that_drops_out_is_silent_from_one_second_on() -> None:
    stream = [START + k * 20 * MS for k in range(3000)]
    out = [
        at for at in stream if not any(START + a * S < at < START + b * S for a, b in ((10, 15), (30, 35), (50, 51)))
    ]
    found = fed(out)
    assert found.threshold_ns() == S
    assert [gap.length_ns for gap in found.silences()] == [5 * S, 5 * S, S]


def test_steps_of_the_clock_are_no_silences() -> None:
    stamps = [START, START + 20 * MS, START - 90 * S, START - 90 * S + 20 * MS, START + 7200 * S, START + 7201 * S]
    assert fed(stamps).silences() == [LineGap(START + 7200 * S, S)]


LENGTHS = st.lists(st.sampled_from([0, 20 * MS, 99 * MS, 100 * MS, 400 * MS, S, 3 * S, 9 * S, -5 * S]), max_size=60)


@settings(max_examples=200, deadline=None)
@given(LENGTHS)
def test_the_rule_as_it_stands(lengths: list[int]) -> None:
    stamps = [START]
    for length in lengths:
        stamps.append(stamps[-1] + length)
    counted = [length for length in lengths if length > 0]
    pauses = [length // MS for length in counted if length >= S // 10]
    usual = median_low(pauses) * MS if len(pauses) >= 5 and 50 * len(pauses) >= len(counted) else 0
    least = max(S, 3 * usual)
    assert fed(stamps).threshold_ns() == least
    wanted = [
        (at, length) for at, length in zip(stamps, lengths, strict=False) if length >= least and length <= 3600 * S
    ]
    assert fed(stamps).silences() == sorted(wanted)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(1, 12), min_size=1, max_size=40), st.data())
def test_the_longest_are_kept_in_whatever_parts_they_came(seconds: list[int], draw: st.DataObject) -> None:
    stamps = [START]
    for length in seconds:
        stamps.append(stamps[-1] + length * S)
    cut = draw.draw(st.integers(0, len(stamps) - 1))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(line_silences, "_MOST", 3)
        whole, first, second = fed(stamps), fed(stamps[: cut + 1]), fed(stamps[cut + 1 :])
        if cut + 1 < len(stamps):
            first.between(stamps[cut], stamps[cut + 1])
        first.merge(second)
        assert first.silences() == whole.silences()
        assert len(whole.silences()) <= 3


def test_a_line_says_its_silences_from_its_first_bytes_on() -> None:
    line = LineTally("nmea0183")
    for at in bursts(S, 4, 20 * S) + bursts(S, 4, 20 * S, START + 30 * S):
        line.feed(b"$GPZDA*48\r\n", at, framing_errors=0)
    said = line_json("tap", line)
    assert said["gaps"] == [{"start_s": 19.06, "length_s": 10.94}]
    assert said["gap_at_least_s"] == 2.82
    assert said["framing_errors"] == 0
