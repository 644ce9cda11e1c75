"""The live stage's verdicts, from what was heard: units, load, errors, strangers, lines."""

from __future__ import annotations

from dataclasses import replace

import pytest
from judging import bus_detail, heard, judged, over, said, step_of, verdict, volts

from benchcheck.checks.link_alive import NO_IDLE
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.step import Quantity

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
    # a controller that tells of no errors proves nothing; one that tells of some does
    calm = bus_detail(error_frames=None, controller="no errors", controller_errors=False)
    assert said(step, heard(**calm)) == ("UNSURE", "not_reported")
    met = bus_detail(error_frames=None, controller="bus error", controller_errors=True)
    assert said(step, heard(**met)) == ("FAIL", "controller")
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

IDLE = volts(-7.4)


def line(good: int = 0, bad: int = 0, no_checksum: int = 0, size: int = 400, other: int = 0, **types: int) -> Reading:
    sentences = {"good": good, "bad_checksum": bad, "no_checksum": no_checksum, "other": other}
    return heard("bytes", bytes=size, sentences=sentences, types_sound=types)


def with_detail(reading: Reading, **more: object) -> Reading:
    return replace(reading, detail={**reading.detail, **more})


def line_said(reading: Reading, idle: Reading = IDLE, step: str = "link_alive:position:GNSS") -> tuple[str, str]:
    return said(step_of(step), idle, reading)


def line_text(reading: Reading, idle: Reading = IDLE) -> str:
    return verdict(step_of(POSITION), idle, reading).text


POSITION = "link_alive:position:GNSS"  # expects GPGGA and GPZDA


def test_a_line_that_lives() -> None:
    assert line_said(line(good=5, GPGGA=3, GPZDA=2)) == ("PASS", "alive")
    assert line_said(line(good=5, bad=1, GPGGA=3, GPZDA=2, GPVTG=1)) == ("PASS", "alive")
    # a text protocol has no checksums
    assert line_said(line(no_checksum=4, TIDE=4), step="link_alive:tide:TIDE") == ("PASS", "alive")


@pytest.mark.parametrize(
    ("reading", "reason"),
    [
        (line(size=0), "silent"),
        (line(size=95), "garbage"),
        (line(bad=6), "bad_checksums"),
        (line(good=2, bad=3, GPGGA=2), "bad_checksums"),
        (with_detail(line(no_checksum=2, other=3, GPGGA=2), summed=False), "bad_checksums"),
        (line(good=5, SDDBT=5), "wrong_talker"),
    ],
)
def test_a_line_that_does_not(reading: Reading, reason: str) -> None:
    assert line_said(reading) == ("FAIL", reason)


def test_a_sentence_that_was_not_heard_yet_is_unsure() -> None:
    assert line_said(line(good=5, GPGGA=5)) == ("UNSURE", "incomplete")
    assert "GPZDA not heard" in line_text(line(good=5, GPGGA=5))


def test_a_listening_that_counted_nothing_is_unsure() -> None:
    assert line_said(heard("bytes", bytes=10)) == ("UNSURE", "no_reading")


def test_another_talker_is_told_by_what_it_says() -> None:
    text = line_text(line(good=5, SDDPT=3, SDDBT=2))
    assert text.startswith("heard SDDBT, SDDPT, which is what SONAR on depth should say; expected GPGGA, GPZDA")


def test_another_speed_that_was_found() -> None:
    speed = {
        "state": "found",
        "text": "looks like 9600 8N1, profile says 4800 8N1: 4 good sentences",
        "baud": 9600,
        "framing": "8N1",
        "as_planned": False,
    }
    wrong = with_detail(line(size=95), speed=speed)
    assert line_said(wrong) == ("FAIL", "wrong_speed")
    assert line_text(wrong).startswith("looks like 9600 8N1, profile says 4800 8N1")
    assert line_said(with_detail(line(bad=6), speed=speed)) == ("FAIL", "wrong_speed")
    # found at the planned speed after all: the sentences were bad, the speed is not
    assert line_said(with_detail(line(bad=6), speed={**speed, "as_planned": True})) == ("FAIL", "bad_checksums")
    unclear = with_detail(line(size=95), speed={"state": "unclear", "text": "at none of 8 speeds"})
    assert line_said(unclear) == ("FAIL", "garbage")
    assert "at none of 8 speeds" in line_text(unclear)


def test_framing_errors_stand_in_the_words_where_the_port_tells_them() -> None:
    assert "95 bytes (12 with a framing error), but no good sentence" in line_text(
        with_detail(line(size=95), framing_errors=12)
    )
    for none in (0, None):
        assert "framing" not in line_text(with_detail(line(size=95), framing_errors=none))


def test_garbage_is_shown_escaped() -> None:
    assert "; they begin \\x80\\x5cA" in line_text(with_detail(line(size=95), begins="\\x80\\x5cA"))


@pytest.mark.parametrize(
    ("pace", "reason"), [("too slow", "too_slow"), ("too fast", "too_fast"), ("irregular", "irregular")]
)
def test_how_often_it_comes(pace: str, reason: str) -> None:
    rates = [{"type": "GPGGA", "pace": pace, "text": "GPGGA every 2 s"}]
    assert line_said(with_detail(line(good=5, GPGGA=3, GPZDA=2), rates=rates)) == ("FAIL", reason)
    rates = [{"type": "GPGGA", "pace": "too few", "text": "too few to tell"}]
    assert line_said(with_detail(line(good=5, GPGGA=3, GPZDA=2), rates=rates)) == ("PASS", "alive")


# --- lines together with the idle level that the meter read ----------------------------------------------------------


def refused(idle: Reading) -> tuple[str, str, str]:
    found, asked = judged(step_of(POSITION), idle)
    assert [request.quantity for request in asked] == [Quantity.EARLIER]  # nobody was asked to join the tap
    assert asked[0].source == "rs232_idle:position:GNSS"
    return found.verdict.outcome.value, found.verdict.reason, found.verdict.text


@pytest.mark.parametrize(
    ("idle", "reason", "words"),
    [
        (Reading.none("it was not read in this job"), "idle_not_known", "it was not read in this job"),
        (Reading.none("left out by A. Hand"), "idle_not_known", "left out by A. Hand"),
        (over("V", 1000.0), "idle_not_known", "OL"),
        (volts(0.02), "no_driven_level", "nothing drives this wire"),
        (volts(-0.4), "no_driven_level", "nothing drives this wire"),
        (volts(2.1), "no_driven_level", "no RS-232 level"),
        (volts(-24.1), "no_driven_level", "more than RS-232 gives"),
        (volts(24.1), "no_driven_level", "more than RS-232 gives"),
    ],
)
def test_a_wire_that_is_not_known_to_be_driven_is_not_joined(idle: Reading, reason: str, words: str) -> None:
    outcome, code, text = refused(idle)
    assert (outcome, code) == ("UNSURE", reason)
    assert words in text
    assert text.startswith("not joined to the tap: ")


@pytest.mark.parametrize("value_v", [-3.1, -7.4, -14.9, -1.5, 5.2, 14.0])
def test_a_driven_wire_is_listened_to(value_v: float) -> None:
    assert line_said(line(good=5, GPGGA=3, GPZDA=2), volts(value_v)) == ("PASS", "alive")


def test_positive_while_idle_is_inverted_or_the_wrong_wire() -> None:
    for reading in (line(size=95), line(size=0)):
        assert line_said(reading, volts(7.2)) == ("FAIL", "inverted")
        assert "7.2 V" in line_text(reading, volts(7.2))
        assert "the wrong wire of the pair" in line_text(reading, volts(7.2))
    assert line_said(line(size=0)) == ("FAIL", "silent")
    assert "held at -7.4 V" in line_text(line(size=0))


def test_a_recording_alone_is_judged_without_the_level() -> None:
    nothing = Reading(ReadingState.NONE, "", detail={"why": "a capture holds traffic only", NO_IDLE: None})
    assert line_said(line(good=5, GPGGA=3, GPZDA=2), nothing) == ("PASS", "alive")
    assert line_said(line(size=0), nothing) == ("FAIL", "silent")


def test_the_level_stands_in_the_reading() -> None:
    found, _ = judged(step_of(POSITION), IDLE, line(good=5, GPGGA=3, GPZDA=2))
    assert found.reading.detail["idle_v"] == -7.4
