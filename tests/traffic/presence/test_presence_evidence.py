"""Presence by mask, source address and data byte; the evidence; gaps of the recorder; time from power-on."""

from __future__ import annotations

import pytest
from frame_rows import Row, batch_of
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.traffic.presence.presence import (
    MatchExpectation,
    Pause,
    UnitExpectation,
    UnitPresence,
    judge_presence,
    watch_of,
)
from benchcheck.traffic.presence.quiet_times import QuietTimes, Spans
from benchcheck.traffic.summary import unit_json
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.traffic.tallies.watch import EXTENDED_MASK, IdKey, Match, of_parameter_group, of_source_address
from benchcheck.words.recorder_gap import RecorderGap

S = 1_000_000_000
START = 1_700_000_000 * S
CLOCK = UnitExpectation("CLOCK", ((0x7, False, 0.05),), 1.0)
NAV = UnitExpectation("NAV", ((0x100, False, 0.1),), 1.5)


def every(
    can_id: int, period_s: float, start_s: float, end_s: float, flags: int = 0, data: bytes = b"\x01"
) -> list[Row]:
    count = int((end_s - start_s) / period_s + 0.5)
    return [(START + round((start_s + k * period_s) * S), 0, can_id, flags, data) for k in range(count)]


def tally_of(rows: list[Row], *expected: UnitExpectation) -> TrafficTally:
    tally = TrafficTally(START, {0: watch_of(expected)})
    tally.update(batch_of(sorted(rows, key=lambda row: row[0])))
    return tally


def judge(
    rows: list[Row],
    *expected: UnitExpectation,
    power_on_s: float | None = None,
    recorder_gaps: list[tuple[float, float]] | None = None,
) -> dict[str, UnitPresence]:
    found = judge_presence(
        expected,
        tally_of(rows, *expected).buses[0],
        start_ns=START,
        end_ns=START + 10 * S,
        power_on_ns=None if power_on_s is None else START + round(power_on_s * S),
        recorder_gaps=[
            RecorderGap(START + round(a * S), START + round(b * S), "a test") for a, b in recorder_gaps or ()
        ],
    )
    return {unit.unit: unit for unit in found}


def state(unit: UnitPresence) -> tuple[str, str]:
    return unit.verdict.value, unit.state.value


def test_the_source_address_is_the_lowest_byte() -> None:
    # SAE J1939-21: priority 3 bits, reserved, data page, PDU format 8, PDU specific 8, source address 8
    assert of_source_address(0x11).takes(IdKey(0x18FEF111, True))
    assert not of_source_address(0x11).takes(IdKey(0x18FEF112, True))
    assert not of_source_address(0x11).takes(IdKey(0x111, False))


def test_a_parameter_group_has_a_destination_below_0xf0_only() -> None:
    # SAE J1939-21 as in SAE J1939-71's engine speed group 61444 (0xF004), 0x0CF00400 from address 0: from memory
    assert of_parameter_group(0xF004).takes(IdKey(0x0CF00400, True))
    assert of_parameter_group(0xF004, 0).takes(IdKey(0x18F00400, True))  # whatever its priority
    assert not of_parameter_group(0xF004, 1).takes(IdKey(0x0CF00400, True))
    assert not of_parameter_group(0xF004).takes(IdKey(0x0CF00500, True))
    # a request (0xEA00) to any address is the same group
    assert of_parameter_group(0xEA00).takes(IdKey(0x18EAFF00, True))
    assert of_parameter_group(0xEA00).takes(IdKey(0x18EA1200, True))
    assert not of_parameter_group(0x1EA00).takes(IdKey(0x18EA1200, True))


SONAR = UnitExpectation("SONAR", (), 1.0, (MatchExpectation(of_source_address(0x11), 0.1),))


def test_a_unit_by_its_source_address() -> None:
    rows = every(0x7, 0.05, 0, 10)
    ids = [0x18FEF111, 0x0CF00411, 0x1CFFAA11]
    for turn, can_id in enumerate(ids):  # no identifier alone keeps the period
        rows += every(can_id, 0.3, 0.1 * turn, 10, 1)
    found = judge(rows, CLOCK, SONAR)
    assert list(found) == ["CLOCK", "SONAR"]  # nothing of it is unexpected
    assert state(found["SONAR"]) == ("PASS", "present")
    gone = [row for row in rows if row[2] == 0x7 or not 3 * S < row[0] - START < 5 * S]
    broken = judge(gone, CLOCK, SONAR)["SONAR"]
    assert state(broken) == ("FAIL", "intermittent")
    assert broken.pauses[0].source == "00000011/000000FF"
    assert state(judge(rows[:200], CLOCK, SONAR)["SONAR"]) == ("FAIL", "missing")


@pytest.mark.parametrize(("value", "verdict"), [(1, ("PASS", "present")), (2, ("FAIL", "missing"))])
def test_units_that_share_an_identifier_by_a_data_byte(value: int, verdict: tuple[str, str]) -> None:
    def by_byte(unit: str, wanted: int) -> UnitExpectation:
        match = Match(0x321, 0x7FF, False, byte=1, value=wanted)
        return UnitExpectation(unit, (), 1.0, (MatchExpectation(match, 0.2),))

    rows = (
        every(0x7, 0.05, 0, 10)
        + every(0x321, 0.2, 0, 10, data=b"\x00\x03")
        + every(0x321, 0.2, 0.1, 10, data=b"\x00\x01")
    )
    rows += every(0x321, 0.2, 0.15, 10, data=b"\x02")  # too short to have that byte
    found = judge(rows, CLOCK, by_byte("PORT", 3), by_byte("STARBOARD", value))
    assert state(found["PORT"]) == ("PASS", "present")
    assert state(found["STARBOARD"]) == verdict
    assert list(found) == ["CLOCK", "PORT", "STARBOARD"]


def test_a_mask_of_base_identifiers() -> None:
    unit = UnitExpectation("DRIVE", (), 1.0, (MatchExpectation(Match(0x180, 0x780, False), 0.1),))
    rows = every(0x7, 0.05, 0, 10) + every(0x181, 0.2, 0, 10) + every(0x1FF, 0.2, 0.1, 10) + every(0x281, 0.2, 0.1, 10)
    found = judge(rows, CLOCK, unit)
    assert state(found["DRIVE"]) == ("PASS", "present")
    assert state(found["281"]) == ("FAIL", "unexpected")
    assert "heard, 100 frames" in found["DRIVE"].text


def test_a_match_that_was_not_watched_is_refused() -> None:
    with pytest.raises(ValueError, match="watch_of"):
        judge_presence([SONAR], tally_of(every(0x7, 0.05, 0, 1), CLOCK).buses[0], start_ns=START, end_ns=START + S)
    other = UnitExpectation("SONAR", (), 1.0, (MatchExpectation(Match(0x11, EXTENDED_MASK, True)),))
    with pytest.raises(ValueError, match="watch_of"):
        judge_presence([other], tally_of(every(0x7, 0.05, 0, 1), SONAR).buses[0], start_ns=START, end_ns=START + S)


def test_gaps_are_evidence_with_their_times() -> None:
    rows = every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 3) + every(0x100, 0.1, 4, 6) + every(0x100, 0.1, 7, 10)
    unit = judge(rows, CLOCK, NAV)["NAV"]
    tenth = S // 10
    assert unit.pauses == (Pause("100", START + 29 * tenth, 11 * tenth), Pause("100", START + 59 * tenth, 11 * tenth))
    said = unit_json("can1", unit, START)
    assert said["pauses"] == [
        {"source": "100", "start_s": 2.9, "length_s": 1.1},
        {"source": "100", "start_s": 5.9, "length_s": 1.1},
    ]
    lost = judge(every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 8), CLOCK, NAV)["NAV"]
    assert lost.pauses == (Pause("100", START + 79 * tenth, 21 * tenth),)
    assert judge(every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 10), CLOCK, NAV)["NAV"].pauses == ()


def test_time_from_power_on_to_the_first_message() -> None:
    rows = every(0x7, 0.05, 0.3, 10) + every(0x100, 0.1, 1.25, 10)
    found = judge(rows, CLOCK, NAV, power_on_s=0.25)
    assert (found["CLOCK"].boot_ns, found["NAV"].boot_ns) == (S // 20, S)
    assert unit_json("can1", found["NAV"], START)["boot_s"] == 1.0
    assert judge(rows, CLOCK, NAV)["NAV"].boot_ns is None  # when power came is not known
    assert judge(rows, CLOCK, NAV, power_on_s=0.5)["CLOCK"].boot_ns is None  # it had power before
    stepped = [(row[0] - 5 * S if row[0] > START + S else row[0], *row[1:]) for row in sorted(rows)]
    tally = TrafficTally(START, {0: watch_of([CLOCK, NAV])})
    tally.update(batch_of(stepped))
    units = judge_presence([CLOCK, NAV], tally.buses[0], start_ns=START, end_ns=START + 5 * S, power_on_ns=START)
    assert [unit.boot_ns for unit in units] == [3 * S // 10, None]  # the clock stepped before NAV was heard


def test_a_gap_of_the_recorder_is_charged_to_nobody() -> None:
    # the recorder lost one second of NAV while another bus node was still being written: marked by the recorder
    rows = every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 3) + every(0x100, 0.1, 4, 10)
    assert state(judge(rows, CLOCK, NAV)["NAV"]) == ("FAIL", "intermittent")
    assert state(judge(rows, CLOCK, NAV, recorder_gaps=[(2.95, 3.99)])["NAV"]) == ("PASS", "present")
    assert state(judge(rows, CLOCK, NAV, recorder_gaps=[(5.0, 6.0)])["NAV"]) == ("FAIL", "intermittent")
    lost = every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 8)
    told = judge(lost, CLOCK, NAV, recorder_gaps=[(7.9, 9.9)])["NAV"]
    assert state(told) == ("UNSURE", "present")  # it may be lost, or have had no time yet to be heard again
    assert told.text == (
        "100 not heard in the last 2.10 s; but for 2.00 s of that time the recorder did not record everything (a test)"
    )


def test_a_recorder_gap_that_is_a_silence_too_counts_once() -> None:
    rows = [row for row in every(0x7, 0.05, 0, 10) if not 3 * S < row[0] - START < 5 * S]
    bus = tally_of(rows, CLOCK).buses[0]
    alone, both = QuietTimes(bus), QuietTimes(bus, [RecorderGap(START + 3 * S, START + 6 * S)])
    assert alone.spans == [(3 * S, 5 * S)]
    assert both.spans == [(3 * S, 6 * S)]
    assert both.overlap(2 * S, 2 * S) == S


def test_recorder_gaps_lie_in_every_stretch_between_clock_steps_that_has_their_stamps() -> None:
    rows = every(0x7, 0.05, 0, 5)
    rows += [(row[0] - 3 * S, *row[1:]) for row in every(0x7, 0.05, 5, 10)]  # set back by 3 s
    tally = TrafficTally(START, {0: watch_of([CLOCK])})
    tally.update(batch_of(rows))
    bus = tally.buses[0]
    assert bus.recorded_ns == round(9.9 * S)
    # stamps 4 s to 4.5 s came twice; the step itself takes no recorded time
    quiet = QuietTimes(bus, [RecorderGap(START + 4 * S, START + round(4.5 * S))])
    assert quiet.spans == [(4 * S, round(4.5 * S)), (round(6.95 * S), round(7.45 * S))]


def gapped(
    rows: list[Row], *gaps: tuple[float, float], dropped: int = 0, power_on_s: float | None = None, unplaced: int = 0
) -> dict[str, UnitPresence]:
    """As `judge`, with gaps of the recorder in which so many frames are known to have been dropped."""
    found = judge_presence(
        [CLOCK, NAV],
        tally_of(rows, CLOCK, NAV).buses[0],
        start_ns=START,
        end_ns=START + 10 * S,
        power_on_ns=None if power_on_s is None else START + round(power_on_s * S),
        dropped_frames=unplaced,
        recorder_gaps=[
            RecorderGap(
                START + round(a * S), START + round(b * S), "too fast" if dropped else "no adapter", "", "", dropped
            )
            for a, b in gaps
        ],
    )
    return {unit.unit: unit for unit in found}


def test_a_pause_that_is_the_recorders_is_named_and_left_out() -> None:
    rows = every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 3) + every(0x100, 0.1, 4, 10)
    nav = gapped(rows, (2.95, 3.99))["NAV"]
    assert state(nav) == ("PASS", "present")
    assert nav.text == (
        "heard, 90 frames; 100 paused for 1.10 s, which is not charged: "
        "for 1.04 s of that time the recorder did not record everything (no adapter)"
    )
    assert nav.pauses == ()
    dropped = gapped(rows, (2.95, 3.99), dropped=3)["NAV"]
    assert state(dropped) == ("UNSURE", "intermittent")
    assert "too fast" in dropped.text


def test_a_pause_of_the_whole_bus_that_is_the_recorders_is_said_to_be() -> None:
    rows = [row for row in every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 10) if not 3 * S < row[0] - START < 5 * S]
    for unit in gapped(rows, (3.0, 5.0)).values():
        assert state(unit) == ("PASS", "present")
        assert "(no adapter)" in unit.text
    assert all("recorder" not in unit.text for unit in judge(rows, CLOCK, NAV).values())
    # the only talker is not taken for silent by itself, for the bus was not silent
    alone = [row for row in rows if row[2] == 0x100]
    assert state(judge(alone, NAV)["NAV"]) == ("UNSURE", "present")
    assert state(judge(alone, NAV, recorder_gaps=[(3.0, 5.0)])["NAV"]) == ("PASS", "present")


def test_dropped_frames_spoil_only_the_time_in_which_they_were_dropped() -> None:
    rows = every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 3) + every(0x100, 0.1, 4, 10)
    assert state(gapped(rows, (6.0, 7.0), dropped=9)["NAV"]) == ("FAIL", "intermittent")
    assert state(gapped(rows, unplaced=9)["NAV"]) == ("UNSURE", "intermittent")
    missing = every(0x7, 0.05, 0, 10)
    assert state(gapped(missing, (2.0, 3.0), dropped=9)["NAV"]) == ("FAIL", "missing")


def test_who_may_have_spoken_in_the_gap_is_neither_missing_nor_late() -> None:
    clock = every(0x7, 0.05, 0, 10)
    missing = gapped(clock, (1.6, 9.9))["NAV"]  # 0.1 s are left behind its boot time, and it needs 0.25 s
    assert state(missing) == ("UNSURE", "missing")
    assert "not heard (100); but for 8.30 s" in missing.text
    late = gapped(clock + every(0x100, 0.1, 4, 10), (1.0, 3.9), power_on_s=0)["NAV"]
    assert state(late) == ("UNSURE", "late")
    assert "no adapter" in late.text
    assert late.boot_ns is None
    # it was not heard for 1.9 s before the gap, and would have been: late is late
    really = gapped(clock + every(0x100, 0.1, 5, 10), (3.5, 4.9), power_on_s=0)["NAV"]
    assert state(really) == ("FAIL", "late")


def test_a_recorder_that_stops_before_the_end_leaves_nobody_lost() -> None:
    rows = every(0x7, 0.05, 0, 6) + every(0x100, 0.1, 0, 6)
    for unit in gapped(rows, (6.0, 10.0)).values():
        assert state(unit) == ("UNSURE", "present")
        assert "no adapter" in unit.text
    before = every(0x7, 0.05, 0, 6) + every(0x100, 0.1, 0, 4)
    assert state(gapped(before, (6.0, 10.0))["NAV"]) == ("FAIL", "lost")


SPANS = st.lists(st.tuples(st.integers(0, 50), st.integers(0, 9)), max_size=8)


@given(SPANS, st.integers(-5, 60), st.integers(-5, 60))
def test_how_much_of_a_time_is_taken_up(drawn: list[tuple[int, int]], start: int, end: int) -> None:
    spans = [(first, first + length) for first, length in drawn]
    ticks = {tick for first, last in spans for tick in range(first, last)}
    assert Spans(spans).within(start, end) == len(ticks & set(range(start, end)))
    assert Spans(spans).total_ns == len(ticks)
