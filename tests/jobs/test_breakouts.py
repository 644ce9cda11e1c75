"""Reading through breakout leads: good ones, overdue ones, ones that nobody listed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import pytest
from model_bench import ModelBench, shipped

from benchcheck.bench.breakout_lead import NOT_LISTED, BreakoutLead
from benchcheck.harness.model import Gender
from benchcheck.jobs.asking import Asker
from benchcheck.jobs.breakouts import Breakouts
from benchcheck.jobs.listening.hearing import Hearing
from benchcheck.jobs.operator import SimulatedOperator
from benchcheck.words.bench_state import BenchState
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity

DAY_NS = 86_400_000_000_000
LEAD = BreakoutLead("lead A", "dsub9", Gender.PIN, 0.1, 0.02, date(1970, 1, 1))
AT_P1 = BenchState(breakout=frozenset({"P1"}))
READ = Reading(ReadingState.VALUE, "ohm", 1.0, 0.3)


@pytest.fixture
def harness():
    return shipped("starter")[0]


def breakouts(harness, *leads, day=10):
    return Breakouts(harness, leads, lambda: day * DAY_NS)


def test_a_lead_that_is_good(harness):
    good = breakouts(harness, LEAD)
    assert good.refused(AT_P1) == ""
    assert good.at(AT_P1) == {"P1": LEAD}
    seen = good.seen_through(READ, AT_P1, ("P1-2", "TB1-4"), ohms=True)
    assert (seen.value, seen.uncertainty) == (pytest.approx(0.9), pytest.approx(0.32))
    assert seen.detail["breakout"] == {"P1": "lead A, 0.1 ohm a way, self-check 1970-01-01"}
    # two ways of one lead; and no way at all
    assert good.seen_through(READ, AT_P1, ("P1-2", "P1-3"), ohms=True).value == pytest.approx(0.8)
    for contacts in (("P2-2", "TB1-4"), ("P1-shell", "P1-ring"), ("W3@GND1", "GND1")):
        assert good.seen_through(READ, AT_P1, contacts, ohms=True).value == 1.0
    # volts are not changed, but it is said through what they were read
    volts = good.seen_through(replace(READ, unit="V"), AT_P1, ("P1-2", "TB1-4"), ohms=False)
    assert volts.value == 1.0
    assert "breakout" in volts.detail
    # in a state without breakout leads nothing is said
    assert good.seen_through(READ, BenchState(), ("P1-2", "TB1-4"), ohms=True) is READ


def test_a_lead_that_is_overdue_and_one_that_does_not_fit(harness):
    assert "good for 30 days" in breakouts(harness, LEAD, day=40).refused(AT_P1)
    assert "none in bench.toml fits" in breakouts(harness, replace(LEAD, family="dsub25")).refused(AT_P1)
    assert breakouts(harness, LEAD, day=40).refused(BenchState()) == ""


def test_a_bench_that_lists_none_works_and_says_that_it_is_not_proved(harness):
    none = breakouts(harness)
    assert none.refused(AT_P1) == ""
    seen = none.seen_through(READ, AT_P1, ("P1-2", "TB1-4"), ohms=True)
    assert seen.value == 1.0
    assert seen.detail["breakout"] == {"P1": NOT_LISTED}
    lost = Reading.none("link lost", "ohm")
    assert none.seen_through(lost, AT_P1, ("P1-2", "TB1-4"), ohms=True) is lost


def asker(bench, harness):
    return Asker(
        harness,
        bench,
        SimulatedOperator(bench.hands),
        Hearing(harness, bench, None),
        on_state=lambda state, changes: None,
        on_power_off=lambda red, black, reading, near_zero: None,
    )


def ohms_through(harness, leads):
    """Ohms of run W3 (P1-2 to TB1-4) through the lead at P1, and what the hands did."""
    bench = ModelBench(harness, seed=1)
    bench.config = SimpleNamespace(supply="supply", leads=leads)
    reading = asker(bench, harness).answer(Request(Quantity.OHMS, AT_P1, "P1-2", "TB1-4"))
    return reading, bench.log


def test_what_a_lead_adds_is_taken_off_the_reading_of_a_step(harness):
    day = date(2030, 3, 1)  # the model's clock stands in March 2030
    plain, _ = ohms_through(harness, ())
    through, _ = ohms_through(harness, (replace(LEAD, checked=day, check_days=3660),))
    assert through.value == pytest.approx(plain.value - 0.1)
    assert through.uncertainty == pytest.approx(plain.uncertainty + 0.02)
    assert "breakout" not in plain.detail
    assert "lead A" in str(through.detail["breakout"])


def test_without_a_good_lead_nothing_is_moved_and_nothing_is_read(harness):
    reading, log = ohms_through(harness, (LEAD,))
    assert reading.state is ReadingState.NONE
    assert "the self-check of lead A was on 1970-01-01" in str(reading.detail["why"])
    assert "put the day in bench.toml" in str(reading.detail["why"])
    assert log == []
