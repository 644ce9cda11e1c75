"""Ohms begin with volts near zero, once for each bench state; with units in, both ways round."""

from __future__ import annotations

from dataclasses import replace

import pytest
from model_bench import ModelBench, job, shipped

from benchcheck.jobs.asking import Asker
from benchcheck.jobs.listening.hearing import Hearing
from benchcheck.jobs.operator import SimulatedOperator
from benchcheck.jobs.probes import other_way
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage
from benchcheck.words.verdict import Outcome

HARNESS = shipped("starter")[0]
CLIPPED = BenchState(links=frozenset({"TB1-1"}))


class Bench:
    """An asker on a model bench whose meter changes between ohms and volts by itself."""

    def __init__(self, **config):
        self.bench = ModelBench(HARNESS)
        vars(self.bench.config).update(config)
        self.bench.meter.by_itself = True
        self.live: list[tuple[str, str, Reading, bool]] = []
        self.asker = Asker(
            HARNESS,
            self.bench,
            SimulatedOperator(self.bench.hands),
            Hearing(HARNESS, self.bench, None, acknowledge=False),
            on_state=lambda state, changes: None,
            on_power_off=lambda *body: self.live.append(body),
        )

    def ohms(self, red: str, black: str, state: BenchState = ALL_OPEN) -> Reading:
        return self.asker.answer(Request(Quantity.OHMS, state, red, black))

    def volts_read(self) -> int:
        return self.bench.log.count("volts")


def test_the_first_ohms_of_each_bench_state_come_after_volts_at_the_same_contacts():
    made = Bench()
    made.ohms("P1-1", "P1-2")  # the session's first: every feed, then the pair
    begun = made.volts_read()
    made.ohms("P1-2", "P1-3")
    assert made.volts_read() == begun
    reading = made.ohms("P1-2", "GND1", CLIPPED)
    assert made.volts_read() == begun + 1
    assert made.bench.log[-2:] == ["volts", "ohms"]
    assert abs(reading.detail["volts_before"]) < 0.1
    assert "volts_before" not in made.ohms("P1-3", "GND1", CLIPPED).detail
    assert "volts_before" in made.ohms("P1-3", "GND1").detail  # back again is a new state


def test_volts_there_keep_the_ohms_away_and_are_recorded():
    made = Bench()
    made.ohms("P1-1", "P1-2")
    made.bench.meter.volts = lambda: Reading(ReadingState.VALUE, "V", 11.8, 0.1)
    reading = made.ohms("P1-2", "GND1", CLIPPED)
    assert reading.state is ReadingState.NONE
    assert "11.8 V between GND1 and P1-2: no ohms before it is within 0.3 V" in reading.detail["why"]
    assert made.live[-1][3] is False
    del made.bench.meter.volts
    assert made.ohms("P1-2", "GND1", CLIPPED).state is not ReadingState.NONE


def test_a_meter_that_somebody_has_to_set_is_not_asked_for_volts_each_time():
    made = Bench()
    made.bench.meter.by_itself = False
    made.ohms("P1-1", "P1-2")
    begun = made.volts_read()
    made.ohms("P1-2", "GND1", CLIPPED)
    assert made.volts_read() == begun


def test_a_whole_stage_with_such_a_meter_passes():
    made = job("starter")
    made.bench.meter.by_itself = True
    board = made.run([Stage.DEAD])
    assert {board.outcome(step.id) for step in made.runner.plan.of_stage(Stage.DEAD)} == {Outcome.PASS}


# --- both ways round --------------------------------------------------------------------------------------------------

PLUGGED = BenchState(on_unit=frozenset({"P1"}), breakout=frozenset({"P1"}))


def test_with_units_in_ohms_are_read_both_ways():
    made = Bench()
    made.ohms("P1-1", "P1-2")
    reading = made.ohms("P1-1", "P1-2", PLUGGED)
    assert "touch P1-2 P1-1" in made.bench.log
    assert reading.detail["other_way"]
    assert reading.state is not ReadingState.NONE


def test_a_difference_says_that_a_unit_is_still_connected():
    made = Bench()
    made.ohms("P1-1", "P1-2")

    def junction() -> Reading:
        ohm = 4.7e3 if made.bench.meter.probes == ("P1-1", "P1-2") else 1.2e6
        return Reading(ReadingState.VALUE, "ohm", ohm, ohm * 0.01)

    made.bench.meter.ohms = junction
    reading = made.ohms("P1-1", "P1-2", PLUGGED)
    assert reading.state is ReadingState.NONE
    assert "4.7 kohm one way and 1.2 Mohm the other: a unit is still connected" in reading.detail["why"]


OVER = Reading(ReadingState.OVER, "ohm", over_above=40e6)
TEN = Reading(ReadingState.VALUE, "ohm", 10.0, 0.3)


@pytest.mark.parametrize(
    ("one", "other", "state"),
    [
        (TEN, replace(TEN, value=10.5), ReadingState.VALUE),  # within both uncertainties
        (TEN, replace(TEN, value=10.7), ReadingState.NONE),
        (TEN, OVER, ReadingState.NONE),
        (OVER, TEN, ReadingState.NONE),
        (OVER, OVER, ReadingState.OVER),
        (TEN, Reading.none("no answer", "ohm"), ReadingState.NONE),
    ],
)
def test_what_is_alike_both_ways(one, other, state):
    found = other_way(one, other)
    assert found.state is state
    if state is ReadingState.NONE and other.state is not ReadingState.NONE:
        assert "still connected" in found.detail["why"]


# --- the age of the leads' zero ---------------------------------------------------------------------------------------


def test_an_aged_zero_is_measured_again_before_the_next_ohms():
    made = Bench(lead_hours=0.5)
    made.ohms("P1-1", "P1-2")
    first = made.asker.leads.zero
    made.bench.clock.advance(0.49 * 3600)
    made.ohms("P1-2", "P1-3")
    assert made.asker.leads.zero is first
    made.bench.clock.advance(0.02 * 3600)
    made.ohms("P1-1", "P1-2")
    assert made.asker.leads.zero is not first
