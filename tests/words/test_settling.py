"""When a reading has settled: noise, bounce, charging, drift, never steady; and what is never taken by itself."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.settling import (
    BY_ITSELF,
    BY_PRESS,
    BY_WORD,
    Hold,
    SettleRule,
    Settling,
    Wanted,
    count_of,
    looks_lifted,
    passes_lifted,
)
from benchcheck.words.verdict import Band

SPEC, RULE = MeterSpec(), SettleRule()
LIFTED_V = 0.3
OHMS = Wanted("ohm", LIFTED_V, False, count_of(SPEC, "ohm"))
APART = Wanted("ohm", LIFTED_V, True, count_of(SPEC, "ohm"))
VOLTS = Wanted("V", LIFTED_V, False, count_of(SPEC, "V"))
EACH_S = 0.1


def ohm(value: float) -> Reading:
    if math.isinf(value):
        return Reading(ReadingState.OVER, "ohm", over_above=40e6)
    return Reading(ReadingState.VALUE, "ohm", value)


def volt(value: float) -> Reading:
    return Reading(ReadingState.VALUE, "V", value)


OPEN = ohm(math.inf)


class Stream:
    """Feeds readings one every `each_s`."""

    def __init__(self, wanted: Wanted = OHMS, *, armed: bool = True, each_s: float = EACH_S) -> None:
        self.machine = Settling(wanted, RULE, armed=armed)
        self.each_s = each_s
        self.number = 0
        self.fed: list[Reading] = []

    def feed(self, *readings: Reading) -> Hold:
        for reading in readings:
            if self.machine.hold is Hold.TAKEN:
                break
            self.machine.feed(self.number * self.each_s, reading)
            self.number += 1
            self.fed.append(reading)
        return self.machine.hold


def count(value: float) -> float:
    return count_of(SPEC, "ohm")(value)


# --- the path ---------------------------------------------------------------------------------------------------------


def test_held_lifted_arming_taken():
    stream = Stream(armed=False)
    assert stream.feed(*[ohm(0.3)] * 20) is Hold.HELD  # where the last reading was taken
    assert stream.feed(OPEN, OPEN, OPEN) is Hold.HELD
    assert stream.feed(OPEN) is Hold.LIFTED
    assert stream.feed(ohm(1.2)) is Hold.ARMING
    assert stream.feed(*[ohm(1.2)] * 10) is Hold.TAKEN
    taken = stream.machine.taken
    assert (taken.value, taken.detail["taken"]) == (1.2, BY_ITSELF)
    assert "contact" not in taken.detail


def test_a_slip_of_a_probe_does_not_take_the_old_contacts_for_the_new():
    stream = Stream(armed=False)
    for _ in range(20):
        assert stream.feed(ohm(0.3), ohm(0.3), OPEN, ohm(0.3), OPEN, OPEN) is Hold.HELD
    assert stream.machine.taken is None


def test_open_is_never_taken_by_itself_and_by_a_press_it_is_by_word():
    stream = Stream()
    assert stream.feed(*[OPEN] * 500) is Hold.LIFTED
    stream.machine.press()
    stream.feed(*[OPEN] * 10)
    taken = stream.machine.taken
    assert taken.state is ReadingState.OVER
    assert (taken.detail["taken"], taken.detail["contact"]) == (BY_PRESS, BY_WORD)


def test_where_lifted_probes_would_pass_nothing_is_taken_by_itself():
    stream = Stream(APART)
    assert stream.feed(*[ohm(2e6)] * 50) is Hold.SETTLED
    assert stream.feed(*[OPEN] * 50) is Hold.LIFTED
    assert stream.feed(*[ohm(0.4)] * 50) is Hold.SETTLED
    stream.machine.press()
    assert stream.feed(*[ohm(0.4)] * 10) is Hold.TAKEN
    assert stream.machine.taken.value == 0.4
    assert "contact" not in stream.machine.taken.detail  # a value is contact


def test_volts_about_nothing_look_like_lifted_probes():
    stream = Stream(VOLTS)
    assert stream.feed(*[volt(0.01)] * 50) is Hold.LIFTED
    assert stream.feed(*[volt(24.02)] * 10) is Hold.TAKEN
    dead = Stream(VOLTS)
    dead.machine.press()
    dead.feed(*[volt(0.01)] * 10)
    assert dead.machine.taken.detail["contact"] == BY_WORD


def test_a_meter_that_does_not_answer_is_taken_by_a_press_alone():
    silent = Reading.none("no answer", "ohm")
    stream = Stream()
    assert stream.feed(*[silent] * 500) is not Hold.TAKEN
    assert stream.machine.words == "no answer"
    stream.machine.press()
    assert stream.feed(silent) is Hold.TAKEN
    assert stream.machine.taken.state is ReadingState.NONE


@pytest.mark.parametrize(
    ("band", "unit", "passes"),
    [
        (Band(1e6, None, "ohm", "s"), "ohm", True),
        (Band(None, 2.0, "ohm", "s"), "ohm", False),
        (Band(50.0, 70.0, "ohm", "s"), "ohm", False),
        (Band(-0.3, 0.3, "V", "s"), "V", True),
        (Band(21.6, 26.4, "V", "s"), "V", False),
        (Band(-15.0, -5.0, "V", "s"), "V", False),
        (None, "ohm", False),
    ],
)
def test_which_bands_lifted_probes_pass(band, unit, passes):
    assert passes_lifted(band, unit, LIFTED_V) is passes


# --- properties -------------------------------------------------------------------------------------------------------

sizes = st.floats(0.1, 30e6)
seeds = st.integers(0, 2**32)


@given(sizes, seeds, st.floats(0.02, 1.0))
def test_noise_within_the_rule_is_taken_soon_and_near(size, seed, each_s):
    noise = random.Random(seed)
    blur = max(size * RULE.percent / 100, RULE.counts * count(size)) * 0.4
    stream = Stream(each_s=each_s)
    # enough to fill the window; noise alone may look like a slope for a moment
    stream.feed(*(ohm(max(size + noise.uniform(-blur, blur) / 4, 0.0)) for _ in range(400)))
    assert stream.machine.hold is Hold.TAKEN
    assert abs(stream.machine.taken.value - size) <= blur
    assert stream.number >= RULE.readings
    assert (stream.number - 1) * each_s >= RULE.within_s - 1e-9


@given(st.lists(st.one_of(st.just(math.inf), sizes), max_size=120), st.booleans(), seeds)
def test_whatever_comes_a_reading_taken_by_itself_was_steady_in_contact(values, armed, seed):
    """Bounce, garbage, anything: the window before a reading that was taken holds to the rule."""
    pauses = random.Random(seed)
    machine, fed, at_s = Settling(OHMS, RULE, armed=armed), [], 0.0
    for value in [v for v in values for _ in range(pauses.randint(1, 6))]:
        at_s += pauses.uniform(0.01, 0.4)
        fed.append((at_s, value))
        if machine.feed(at_s, ohm(value)) is Hold.TAKEN:
            break
    if machine.taken is None or machine.taken.state is not ReadingState.VALUE:
        return
    last = [entry for entry in fed if fed[-1][0] - entry[0] <= RULE.within_s + 1e-9]
    last = last if len(last) >= RULE.readings else fed[-RULE.readings :]
    seen = [value for _, value in last]
    assert not any(math.isinf(value) for value in seen)
    assert max(seen) - min(seen) <= max(max(seen) * RULE.percent / 100, RULE.counts * count(max(seen))) + 1e-9
    if not armed:
        assert any(math.isinf(value) for _, value in fed)


@given(st.lists(sizes, min_size=1, max_size=40), seeds)
def test_probes_that_bounce_are_never_taken(values, seed):
    """Contact for less than the rule's time, then off again, over and over."""
    shortest = max(RULE.readings, int(RULE.within_s / EACH_S) + 1) - 1
    lengths = random.Random(seed)
    stream = Stream()
    for value in values:
        stream.feed(*[ohm(value)] * lengths.randint(1, shortest), OPEN)
    assert stream.machine.taken is None


@given(st.floats(1e3, 1e6), st.floats(0.5, 20.0))
def test_charging_ends_in_the_value_it_comes_to(end_ohm, tau_s):
    """A capacitance across a resistor, as an ohms range shows it: R (1 - exp(-t/tau)), from any textbook."""
    stream = Stream()
    rise = (end_ohm * (1 - math.exp(-(number + 1) * EACH_S / tau_s)) for number in range(4000))
    holds = [stream.feed(ohm(value)) for value in rise]
    taken = stream.machine.taken
    assert taken is not None
    if taken.state is ReadingState.VALUE:
        # what still went up at the slope limit, for as long as it would have gone on
        left = RULE.slope_percent_per_s / 100 * tau_s + RULE.percent / 100 + 6 * count(end_ohm) * tau_s / end_ohm
        assert end_ohm - taken.value <= end_ohm * left * 1.5
    else:
        assert "charging" in taken.detail["why"]
        assert Hold.CHARGING in holds


def test_charging_that_goes_on_ends_in_words_without_a_value():
    stream = Stream()
    stream.feed(*(ohm(1e4 * (number + 1)) for number in range(1000)))
    taken = stream.machine.taken
    assert taken.state is ReadingState.NONE
    assert "charging" in taken.detail["why"]
    assert "after 30 s" in taken.detail["why"]


def test_charging_beyond_the_range_is_open_after_a_press():
    stream = Stream(APART)
    stream.machine.press()
    stream.feed(*(ohm(value if (value := 4e6 * (number + 1)) < 40e6 else math.inf) for number in range(100)))
    taken = stream.machine.taken
    assert taken.state is ReadingState.OVER
    assert taken.detail["charged"] is True


@given(st.floats(100, 1e6), st.floats(1.5, 50.0), st.booleans())
def test_drift_faster_than_the_slope_limit_is_never_taken_as_a_value(size, percent_s, falls):
    per_s = max(size * percent_s * RULE.slope_percent_per_s / 100, 2 * RULE.counts * count(size * 2) / RULE.within_s)
    stream = Stream()
    values = (size + (-1 if falls else 1) * per_s * number * EACH_S for number in range(500))
    for value in values:
        if value <= size / 2 or value >= size * 2:
            break
        stream.feed(ohm(value))
    assert stream.machine.taken is None or stream.machine.taken.state is ReadingState.NONE


def test_what_is_never_steady_waits_and_ends_only_after_a_press():
    noise = random.Random(7)
    stream = Stream()
    assert stream.feed(*(ohm(noise.uniform(5, 50)) for _ in range(2000))) is Hold.ARMING
    assert stream.machine.words.startswith("not steady")
    stream.machine.press()
    stream.feed(*(ohm(noise.uniform(5, 50)) for _ in range(400)))
    taken = stream.machine.taken
    assert taken.state is ReadingState.NONE
    assert "not steady" in taken.detail["why"]


@settings(max_examples=50)
@given(st.lists(st.one_of(st.just(math.inf), sizes, st.just(math.nan)), max_size=200), st.data())
def test_in_a_step_that_lifted_probes_pass_only_a_press_takes(values, data):
    machine = Settling(APART, RULE, armed=data.draw(st.booleans()))
    pressed = data.draw(st.integers(0, 250))
    for number, value in enumerate(values):
        if number == pressed:
            machine.press()
        machine.feed(number * EACH_S, Reading.none("nothing", "ohm") if math.isnan(value) else ohm(value))
        if number < pressed:
            assert machine.taken is None
    if machine.taken is not None and looks_lifted(machine.taken, LIFTED_V):
        assert machine.taken.detail["contact"] == BY_WORD
