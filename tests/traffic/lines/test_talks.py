"""Talks of the links of a profile, judged from the lines of a recording."""

from __future__ import annotations

import pytest

from benchcheck.harness.model import Harness, Link, Talk
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.talks import TalkPresence, TalkState, judge_talks, line_names, link_of_line
from benchcheck.words.verdict import Outcome

POSITION = Link("position", "nmea0183", 4800, (Talk("P1-3", "P2-2", "GNSS", ("GPBOD", "GPZDA"), 0.5),), "P1-5", "P1")
TIDE = Link(
    "tide",
    "text",
    9600,
    (Talk("P3-3", "P4-2", "TIDE", ("LEVEL",), 2.0), Talk("P4-3", "P3-2", "NAV", (), 2.0)),
    "P3-5",
    "P3",
)
BAY = Harness("bay", "A bay", 20.0, "GND1", {}, (), (), {}, (), (), (POSITION, TIDE))

GOOD = b"$GPBOD,,T,,M,,*47\r\n"  # empty fields; the checksum is worked out by hand in test_the_checksum_by_hand
OTHER = b"$GPZDA,,,,,,*48\r\n"


def heard(protocol: str, data: bytes) -> LineTally:
    tally = LineTally(protocol)
    tally.feed(data)
    tally.flush()
    return tally


def position(data: bytes, recorded_s: float = 10.0) -> TalkPresence:
    return judge_talks(BAY, {"position:GNSS": heard("nmea0183", data)}, recorded_s)[0]


def tide(data: bytes) -> TalkPresence:
    return judge_talks(BAY, {"tide:TIDE": heard("text", data)}, 10.0)[1]


@pytest.mark.parametrize("sentence", [GOOD, OTHER])
def test_the_checksum_by_hand(sentence: bytes) -> None:
    # IEC 61162-1: exclusive or of the characters between $ and *
    value = 0
    for char in sentence[1 : sentence.index(b"*")]:
        value ^= char
    assert sentence[sentence.index(b"*") + 1 :] == b"%02X\r\n" % value


def test_every_talk_has_an_entry_and_none_was_listened_to() -> None:
    talks = judge_talks(BAY, {}, 100.0)
    assert [(talk.link, talk.sender) for talk in talks] == [("position", "GNSS"), ("tide", "TIDE"), ("tide", "NAV")]
    assert {(talk.verdict, talk.state) for talk in talks} == {(Outcome.UNSURE, TalkState.NOT_LISTENED)}
    assert {talk.line for talk in talks} == {""}


def test_lines_are_known_by_link_and_sender_and_by_the_link_where_one_alone_talks() -> None:
    assert line_names(POSITION, POSITION.talks[0]) == ("position:GNSS", "position")
    assert line_names(TIDE, TIDE.talks[0]) == ("tide:TIDE",)
    assert link_of_line(BAY, "tide:NAV") is TIDE
    assert link_of_line(BAY, "position") is POSITION
    assert link_of_line(BAY, "tide") is TIDE
    assert link_of_line(BAY, "tide:GNSS") is None
    (talk, *_) = judge_talks(BAY, {"position": heard("nmea0183", GOOD + OTHER)}, 1.0)
    assert (talk.line, talk.verdict) == ("position", Outcome.PASS)
    assert judge_talks(BAY, {"tide": heard("text", b"LEVEL 1\n")}, 1.0)[1].state is TalkState.NOT_LISTENED


@pytest.mark.parametrize(
    ("data", "verdict", "state", "words"),
    [
        (GOOD + OTHER, Outcome.PASS, TalkState.HEARD, "2 good sentences"),
        (GOOD, Outcome.UNSURE, TalkState.HEARD, "no GPZDA"),
        (b"$GPVTG,,T\r\n" * 3, Outcome.FAIL, TalkState.HEARD, "other types (GPVTG)"),
        (GOOD + b"$GPBOD,,T*00\r\n" * 2, Outcome.FAIL, TalkState.GARBAGE, "2 with a bad checksum, 1 good"),
        (GOOD + OTHER + b"$GPBOD,,T*00\r\n", Outcome.PASS, TalkState.HEARD, "2 good"),
        (b"$GPBOD,,T*00\r\n", Outcome.FAIL, TalkState.GARBAGE, "no good sentence"),
        (bytes(range(128, 160)), Outcome.FAIL, TalkState.GARBAGE, "32 bytes"),
        (b"1.5,N,004", Outcome.UNSURE, TalkState.GARBAGE, "too few to tell"),
        (b"x" * 82, Outcome.FAIL, TalkState.GARBAGE, "82 bytes"),
    ],
)
def test_sentences(data: bytes, verdict: Outcome, state: TalkState, words: str) -> None:
    talk = position(data)
    assert (talk.verdict, talk.state) == (verdict, state)
    assert words in talk.text


@pytest.mark.parametrize(
    ("data", "verdict", "state"),
    [
        (b"LEVEL 1.52\nLEVEL 1.53\n", Outcome.PASS, TalkState.HEARD),
        (b"DEPTH 1.52\n", Outcome.FAIL, TalkState.HEARD),
        (b"\x83\x91\n\xfe\n" + b"LEVEL 1\n", Outcome.FAIL, TalkState.GARBAGE),
    ],
)
def test_text_lines(data: bytes, verdict: Outcome, state: TalkState) -> None:
    talk = tide(data)
    assert (talk.verdict, talk.state) == (verdict, state)


@pytest.mark.parametrize(
    ("recorded_s", "verdict"),
    [(0.0, Outcome.UNSURE), (1.7, Outcome.UNSURE), (1.75, Outcome.FAIL), (60.0, Outcome.FAIL)],
)
def test_silence_is_a_fault_only_in_time_enough(recorded_s: float, verdict: Outcome) -> None:
    # a period of 0.5 s: 3.5 periods are 1.75 s
    talk = position(b"", recorded_s)
    assert (talk.verdict, talk.state) == (verdict, TalkState.SILENT)


def test_what_the_recorder_missed_is_no_time_of_a_silent_line() -> None:
    empty = {"position:GNSS": LineTally("nmea0183")}

    def judged(recorded_s: float, lost_s: float) -> TalkPresence:
        return judge_talks(BAY, empty, recorded_s, {"position:GNSS": lost_s})[0]

    assert judged(10.0, 0.0).verdict is Outcome.FAIL
    assert judged(10.0, 9.0).verdict is Outcome.UNSURE
    still = judged(10.0, 5.0)
    assert still.verdict is Outcome.FAIL  # 5 s are time enough
    assert still.text.endswith("for 5.00 s not everything of this line was recorded")
    other = judge_talks(BAY, {"position:GNSS": heard("nmea0183", b"$GPXXX,1\r\n")}, 10.0, {"position:GNSS": 1.0})[0]
    assert other.verdict is Outcome.UNSURE  # what it should have said may have come then
