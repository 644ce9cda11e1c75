"""How often a talker says each type, held against the period that the profile states. Numbers: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.harness.line_protocol import TextProtocol
from benchcheck.harness.model import Harness, Link, Talk
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.protocols import described
from benchcheck.traffic.lines.talk_rates import Pace, Rate, rates_of, wrong_rates
from benchcheck.traffic.lines.talks import TalkState, judge_talks
from benchcheck.words.verdict import Outcome

S = 1_000_000_000
TIDE = TextProtocol("tide", b"\r\n", r"(LEVEL|BATT) [0-9.]+")
TALK = Talk("P1-3", "P2-2", "TIDE", ("LEVEL",), 1.0, is_timed=True)
LINK = Link("tide", "tide", 9600, (TALK,), "P1-5", "P1", described=TIDE)
BAY = Harness("bay", "A bay", 20.0, "GND1", {}, (), (), {}, (), (), (LINK,), protocols=(TIDE,))


def tally(*at_s: float, kind: str = "LEVEL") -> LineTally:
    line = LineTally(described(TIDE))
    for moment in at_s:
        line.feed(f"{kind} 1.5\r\n".encode(), round(moment * S))
    return line


def rate(*at_s: float) -> Rate:
    return rates_of(TALK, tally(*at_s))["LEVEL"]


@pytest.mark.parametrize(
    ("at_s", "pace"),
    [
        ((0, 1, 2, 3), Pace.IN_TIME),
        ((0, 1.2, 2.1, 3.4), Pace.IN_TIME),
        ((0, 1.5, 3.14), Pace.IN_TIME),  # 1.5 periods twice, and a read that was 0.14 s late
        ((0, 1.5, 3.16), Pace.TOO_SLOW),
        ((0, 0.6, 1.19), Pace.IN_TIME),
        ((0, 0.6, 1.18), Pace.TOO_FAST),  # below two thirds of a period twice, less 0.15 s
        ((0, 0.1, 0.2, 0.3), Pace.TOO_FAST),
        ((0, 2, 4, 6), Pace.TOO_SLOW),
        ((0, 1, 2, 6.5, 7.5, 8.5), Pace.IRREGULAR),  # the break is left out of the mean
        ((0, 1), Pace.TOO_FEW),
        ((0,), Pace.TOO_FEW),
        ((0, 4), Pace.TOO_SLOW),
        ((5, 5, 5, 5), Pace.TOO_FEW),  # one read brought them all: it has no times
    ],
)
def test_pace(at_s: tuple[float, ...], pace: Pace) -> None:
    found = rate(*at_s)
    assert found.pace is pace
    assert found.text
    assert found.pace.is_wrong == (pace not in (Pace.IN_TIME, Pace.TOO_FEW))


@pytest.mark.parametrize(("period_s", "gaps"), [(0.1, 10), (0.2, 5), (0.5, 2), (1.0, 2), (60.0, 2)])
def test_a_pace_takes_two_periods_and_a_second(period_s: float, gaps: int) -> None:
    talk = replace(TALK, period_s=period_s)
    for factor, pace in ((1.0, Pace.IN_TIME), (2.0, Pace.TOO_SLOW), (0.5, Pace.TOO_FAST)):
        times = [number * period_s * factor for number in range(gaps + 1)]
        assert rates_of(talk, tally(*times))["LEVEL"].pace is pace
    few = tally(*[number * period_s for number in range(gaps)])
    assert rates_of(talk, few)["LEVEL"].pace is Pace.TOO_FEW


def test_once_and_then_no_more_while_the_line_talks_on() -> None:
    line = tally(0.0)
    for moment in range(1, 6):
        line.feed(b"BATT 12\r\n", moment * S)
    assert rates_of(TALK, line)["LEVEL"].pace is Pace.TOO_SLOW
    assert "came once, and then not for 5.00 s" in rates_of(TALK, line)["LEVEL"].text


def test_only_what_the_profile_states_is_judged() -> None:
    assert rates_of(replace(TALK, is_timed=False), tally(0, 5, 10, 15)) == {}
    assert rates_of(TALK, tally(0, 5, 10, 15, kind="BATT")) == {}
    assert rates_of(replace(TALK, types=()), tally(0, 5, 10)) == {}


def test_the_surest_comes_first() -> None:
    rates = {"a": Rate(Pace.IRREGULAR, 1.0, ""), "b": Rate(Pace.IN_TIME, 1.0, ""), "c": Rate(Pace.TOO_SLOW, 3.0, "")}
    assert [found.pace for found in wrong_rates(rates)] == [Pace.TOO_SLOW, Pace.IRREGULAR]


@given(st.lists(st.integers(0, 5 * S), min_size=1, max_size=30))
def test_any_times_give_a_pace_with_words(steps: list[int]) -> None:
    at, stamps = 0, []
    for step in steps:
        at += step
        stamps.append(at / S)
    assert rate(*stamps).text


@pytest.mark.parametrize(
    ("at_s", "verdict", "words"),
    [
        ((0, 1, 2, 3), Outcome.PASS, "4 good lines"),
        ((0, 2, 4, 6), Outcome.FAIL, "too slow: LEVEL every 2 s, every 1 s by the profile"),
        ((0, 0.2, 0.4, 0.6), Outcome.FAIL, "too fast: LEVEL every 0.2 s"),
        ((0, 1, 2, 7, 8, 9), Outcome.UNSURE, "irregular"),
    ],
)
def test_a_talk_of_a_described_protocol_in_a_recording(at_s: tuple[float, ...], verdict: Outcome, words: str) -> None:
    (found,) = judge_talks(BAY, {"tide:TIDE": tally(*at_s)}, 10.0)
    assert (found.verdict, found.state) == (verdict, TalkState.HEARD)
    assert words in found.text


def test_where_not_everything_was_recorded_a_rate_fails_nobody() -> None:
    (found,) = judge_talks(BAY, {"tide:TIDE": tally(0, 2, 4, 6)}, 10.0, {"tide:TIDE": 1.0})
    assert found.verdict is Outcome.UNSURE


def test_garbled_lines_of_a_described_protocol() -> None:
    line = tally(0.0)
    line.feed(b"\x80\x81\r\nlevel\r\n", S)
    (found,) = judge_talks(BAY, {"tide:TIDE": line}, 10.0)
    assert (found.verdict, found.state) == (Outcome.FAIL, TalkState.GARBAGE)
    assert "2 garbled, 1 good" in found.text
    line.feed(b"", 2 * S, framing_errors=3)
    (found,) = judge_talks(BAY, {"tide:TIDE": line}, 10.0)
    assert found.text.endswith("3 of the bytes with a framing error")
