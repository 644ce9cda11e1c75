"""The live stage's verdicts, from what was heard: units, load, errors, strangers, lines."""

from __future__ import annotations

import pytest
from judging import bus_detail, heard, said, step_of, verdict

from benchcheck.words.reading import Reading

# --- units ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("outcome", "state"),
    [
        ("PASS", "present"),
        ("FAIL", "missing"),
        ("FAIL", "late"),
        ("FAIL", "lost"),
        ("FAIL", "intermittent"),
        ("UNSURE", "missing"),  # frames were dropped
    ],
)
def test_a_unit_is_judged_by_its_own_part_of_the_listening(outcome: str, state: str) -> None:
    units = {
        "NAV": {"verdict": outcome, "state": state, "text": "so it is"},
        "LOG": {"verdict": "PASS", "state": "present", "text": "there"},
    }
    step = step_of("unit_heard:can1:NAV")
    assert said(step, heard(**bus_detail(units=units))) == (outcome, state)
    text = verdict(step, heard(**bus_detail(units=units))).text
    assert text.startswith("so it is")
    assert (len(text) > len("so it is")) == ((outcome, state) == ("FAIL", "missing"))  # and what to look at


def test_a_listening_that_says_nothing_of_a_unit_is_no_silence() -> None:
    step = step_of("unit_heard:can1:NAV")
    assert said(step, heard(**bus_detail())) == ("UNSURE", "no_message_known")
    assert said(step, heard()) == ("UNSURE", "no_message_known")
    assert said(step, heard(units={"NAV": "there"})) == ("UNSURE", "no_message_known")


# --- load ----------------------------------------------------------------------------------------------------------


def test_bus_load_is_judged_by_its_peak() -> None:
    step = step_of("bus_load:can1")  # 40 percent
    assert said(step, heard(**bus_detail(load_peak_percent=12.0))) == ("PASS", "in_band")
    assert said(step, heard(**bus_detail(load_peak_percent=40.0))) == ("PASS", "in_band")
    found = said(step, heard(**bus_detail(load_mean_percent=10.0, load_peak_percent=55.0)))
    assert found == ("FAIL", "overloaded")


def test_bus_load_without_all_frames_is_unsure() -> None:
    step = step_of("bus_load:can1")
    assert said(step, heard(**bus_detail(dropped_frames=3))) == ("UNSURE", "no_reading")
    assert "3 frames were dropped" in verdict(step, heard(**bus_detail(dropped_frames=3))).text
    assert said(step, heard(**bus_detail(load_peak_percent=None))) == ("UNSURE", "no_reading")
    assert said(step, heard()) == ("UNSURE", "no_reading")


# --- errors --------------------------------------------------------------------------------------------------------


def test_error_frames() -> None:
    step = step_of("bus_errors:can1")
    assert said(step, heard(**bus_detail(error_frames=0))) == ("PASS", "in_band")
    assert said(step, heard(**bus_detail(error_frames=1))) == ("FAIL", "errors")


def test_no_errors_from_an_adapter_that_can_not_tell_is_unsure() -> None:
    step = step_of("bus_errors:can1")
    assert said(step, heard(**bus_detail(error_frames=None))) == ("UNSURE", "not_reported")
    assert said(step, heard()) == ("UNSURE", "not_reported")


def test_a_time_that_was_not_recorded_leaves_load_and_errors_unsure() -> None:
    gap = {"start_s": 2.0, "length_s": 1.5, "why": "the adapter could not be read", "dropped": 0}
    lacking = heard(**bus_detail(error_frames=0, recorder_gaps=[gap]))
    assert said(step_of("bus_load:can1"), lacking) == ("UNSURE", "no_reading")
    assert "not everything was recorded" in verdict(step_of("bus_load:can1"), lacking).text
    assert said(step_of("bus_errors:can1"), lacking) == ("UNSURE", "no_reading")
    # error frames that were seen were seen
    seen = heard(**bus_detail(error_frames=3, recorder_gaps=[gap]))
    assert said(step_of("bus_errors:can1"), seen) == ("FAIL", "errors")
    whole = heard(**bus_detail(error_frames=0, recorder_gaps=[]))
    assert said(step_of("bus_errors:can1"), whole) == ("PASS", "in_band")


# --- strangers -----------------------------------------------------------------------------------------------------


def test_identifiers_that_nobody_should_send() -> None:
    step = step_of("bus_strangers:can1")
    assert said(step, heard(**bus_detail())) == ("PASS", "known")
    assert said(step, heard(**bus_detail(strangers=["7A5"]))) == ("FAIL", "unexpected")
    assert verdict(step, heard(**bus_detail(strangers=["7A5", "123"]))).text.startswith("7A5, 123: ")


def test_an_identifier_that_two_units_send() -> None:
    step = step_of("bus_strangers:can1")
    entry = {
        "identifier": "110",
        "owner": "NAV",
        "text": "identifier 110 of NAV comes twice",
        "first_s": 1.0,
        "last_s": 5.0,
    }
    certain, doubtful = {**entry, "verdict": "FAIL"}, {**entry, "verdict": "UNSURE"}
    assert said(step, heard(**bus_detail(unexpected=[certain]))) == ("FAIL", "second_sender")
    text = verdict(step, heard(**bus_detail(unexpected=[certain]))).text
    assert text.startswith("identifier 110 of NAV comes twice; two units send one identifier")
    assert said(step, heard(**bus_detail(unexpected=[doubtful]))) == ("UNSURE", "second_sender")
    # a stranger is one, whoever sends twice beside it; its own entry has no owner
    stranger = {**entry, "identifier": "7A5", "owner": None, "verdict": "FAIL"}
    both = heard(**bus_detail(strangers=["7A5"], unexpected=[stranger, doubtful]))
    assert said(step, both) == ("FAIL", "unexpected")
    assert "110 of NAV" in verdict(step, both).text


# --- lines ---------------------------------------------------------------------------------------------------------


def line(good: int = 0, bad: int = 0, no_checksum: int = 0, size: int = 400, **types: int) -> Reading:
    sentences = {"good": good, "bad_checksum": bad, "no_checksum": no_checksum, "other": 0}
    return heard("bytes", bytes=size, sentences=sentences, types_sound=types)


POSITION = "link_alive:position:GNSS"  # expects GPGGA and GPZDA


def test_a_line_that_lives() -> None:
    assert said(step_of(POSITION), line(good=5, GPGGA=3, GPZDA=2)) == ("PASS", "alive")
    assert said(step_of(POSITION), line(good=5, bad=1, GPGGA=3, GPZDA=2, GPVTG=1)) == ("PASS", "alive")
    # a text protocol has no checksums
    assert said(step_of("link_alive:tide:TIDE"), line(no_checksum=4, TIDE=4)) == ("PASS", "alive")


@pytest.mark.parametrize(
    ("reading", "reason"),
    [
        (line(size=0), "silent"),
        (line(size=95), "garbage"),
        (line(bad=6), "bad_checksums"),
        (line(good=2, bad=3, GPGGA=2), "bad_checksums"),
        (line(good=5, SDDBT=5), "wrong_talker"),
    ],
)
def test_a_line_that_does_not(reading: Reading, reason: str) -> None:
    assert said(step_of(POSITION), reading) == ("FAIL", reason)


def test_a_sentence_that_was_not_heard_yet_is_unsure() -> None:
    assert said(step_of(POSITION), line(good=5, GPGGA=5)) == ("UNSURE", "incomplete")
    assert "GPZDA not heard" in verdict(step_of(POSITION), line(good=5, GPGGA=5)).text


def test_a_listening_that_counted_nothing_is_unsure() -> None:
    assert said(step_of(POSITION), heard("bytes", bytes=10)) == ("UNSURE", "no_reading")
