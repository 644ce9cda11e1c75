"""Which speed a line has, from what a receiver makes of the same levels at several."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.simulator.lines import garble
from benchcheck.traffic.lines.line_speed import SPEEDS, SpeedState, Trial, judge_speed, makes_sense, trials_in_order
from benchcheck.traffic.lines.line_tally import LineTally

# IEC 61162-1 form; checksums as any reader of it reckons them
SENTENCES = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n$GPBOD,,T,,M,,*47\r\n" * 2
LINES = b"DEPTH 12.4 m\nTEMP 11.9 C\nDEPTH 12.5 m\nTEMP 11.9 C\n" * 3


def trial(sent: bytes, sent_baud: int, baud: int, protocol: str = "nmea0183", framing: str = "8N1") -> Trial:
    tally = LineTally(protocol)
    heard = sent if baud == sent_baud else garble(sent, sent_baud, baud)
    tally.feed(heard, 0)
    return Trial(baud, framing, tally, 1.0)


@pytest.mark.parametrize(("protocol", "sent"), [("nmea0183", SENTENCES), ("text", LINES)])
@pytest.mark.parametrize("sent_baud", SPEEDS)
@pytest.mark.parametrize("planned", [4800, 9600])
def test_the_speed_at_which_it_was_sent_is_found(protocol: str, sent: bytes, sent_baud: int, planned: int) -> None:
    trials = [trial(sent, sent_baud, baud, protocol) for baud in SPEEDS]
    found = judge_speed(trials, planned, "8N1")
    assert found.state is SpeedState.FOUND
    assert found.best is not None
    assert found.best.baud == sent_baud
    if sent_baud != planned:
        assert found.text.startswith(f"looks like {sent_baud} 8N1, profile says {planned} 8N1")
    else:
        assert "as the profile says" in found.text


@settings(max_examples=60)
@given(st.binary(min_size=8, max_size=400), st.sampled_from(["nmea0183", "text"]))
def test_garbage_is_never_taken_for_a_speed(data: bytes, protocol: str) -> None:
    tally = LineTally(protocol)
    tally.feed(bytes(byte | 0x80 for byte in data), 0)
    assert not makes_sense(tally)
    assert judge_speed([Trial(4800, "8N1", tally, 1.0)], 4800, "8N1").state is SpeedState.UNCLEAR


def test_silence_is_no_speed() -> None:
    trials = [trial(b"", 4800, baud) for baud in SPEEDS]
    found = judge_speed(trials, 4800, "8N1")
    assert (found.state, found.best) == (SpeedState.SILENT, None)
    assert "nothing came at any of 8 speeds" in found.text
    assert judge_speed([], 4800, "8N1").state is SpeedState.SILENT


def test_one_sentence_is_not_enough() -> None:
    assert judge_speed([trial(b"$GPBOD,,T,,M,,*47\r\n", 4800, 4800)], 4800, "8N1").state is SpeedState.UNCLEAR


def test_what_was_planned_is_tried_first_and_everything_once() -> None:
    order = trials_in_order(19200, "7E1")
    assert order[:3] == [(19200, "7E1"), (4800, "7E1"), (9600, "7E1")]
    assert len(order) == len(set(order)) == 40
    assert trials_in_order(31250, "8N2")[0] == (31250, "8N2")
