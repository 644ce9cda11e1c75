"""Who is there: each state with its evidence, and what is never charged to a unit."""

from __future__ import annotations

import pytest
from frame_rows import Row, batch_of

from benchcheck.traffic.presence.presence import PresenceState, UnitExpectation, UnitPresence, judge_presence, watch_of
from benchcheck.traffic.tallies.bus_tally import BusTally
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.words.verdict import Outcome

S = 1_000_000_000
START = 1_700_000_000 * S
NAV = UnitExpectation("NAV", ((0x100, False, 0.1),), 1.5)
SONAR = UnitExpectation("SONAR", ((0x18FF0001, True, 0.5), (0x18FF0002, True, None)), 2.0)
# something that keeps the bus going in the tests of one unit
CLOCK = UnitExpectation("CLOCK", ((0x7, False, 0.05),), 1.0)


def every(can_id: int, period_s: float, start_s: float, end_s: float, flags: int = 0) -> list[Row]:
    count = int((end_s - start_s) / period_s + 0.5)
    return [(START + round((start_s + k * period_s) * S), 0, can_id, flags, b"\x01") for k in range(count)]


def judge(
    rows: list[Row], *expected: UnitExpectation, end_s: float = 10.0, power_on_s: float | None = None, dropped: int = 0
) -> dict[str, UnitPresence]:
    tally = TrafficTally(START, {0: watch_of(expected)})
    rows = sorted(rows, key=lambda row: row[0])
    for start in range(0, len(rows), 7):  # as it comes in live: bit by bit
        tally.update(batch_of(rows[start : start + 7]))
    found = judge_presence(
        expected,
        tally.buses.get(0),
        start_ns=START,
        end_ns=START + round(end_s * S),
        power_on_ns=None if power_on_s is None else START + round(power_on_s * S),
        dropped_frames=dropped,
    )
    return {unit.unit: unit for unit in found}


def state(unit: UnitPresence) -> tuple[str, str]:
    return unit.verdict.value, unit.state.value


def test_present() -> None:
    rows = every(0x100, 0.1, 0, 10) + every(0x18FF0001, 0.5, 0.2, 10, 1)
    found = judge(rows, NAV, SONAR)
    assert [state(unit) for unit in found.values()] == [("PASS", "present"), ("PASS", "present")]
    assert found["NAV"].first_ns == START
    assert found["NAV"].last_ns == START + round(9.9 * S)
    assert found["NAV"].max_gap_s == pytest.approx(0.1)


def test_missing() -> None:
    found = judge(every(0x100, 0.1, 0, 10), NAV, SONAR)
    assert state(found["SONAR"]) == ("FAIL", "missing")
    assert found["SONAR"].first_ns is None
    assert "18FF0001" in found["SONAR"].text


def test_one_silent_message_of_a_unit_is_missing_and_named() -> None:
    both = UnitExpectation("NAV", ((0x100, False, 0.1), (0x101, False, 0.1)), 1.5)
    found = judge(every(0x100, 0.1, 0, 10), both)
    assert state(found["NAV"]) == ("FAIL", "missing")
    assert "101" in found["NAV"].text


def test_missing_takes_time_enough() -> None:
    rows = every(0x100, 0.1, 0, 2.9)
    assert state(judge(rows, NAV, SONAR, end_s=2.9)["SONAR"]) == ("UNSURE", "missing")
    rows = every(0x100, 0.1, 0, 3.5)
    assert state(judge(rows, NAV, SONAR, end_s=3.5)["SONAR"]) == ("FAIL", "missing")
    # the boot time counts from power on
    assert state(judge(rows, NAV, SONAR, end_s=3.5, power_on_s=1.0)["SONAR"]) == ("UNSURE", "missing")


def test_a_unit_that_sends_on_occasion_is_not_missing() -> None:
    rare = UnitExpectation("RARE", ((0x200, False, None),), 1.0)
    assert state(judge(every(0x100, 0.1, 0, 10), NAV, rare)["RARE"]) == ("UNSURE", "missing")
    heard = judge([*every(0x100, 0.1, 0, 10), *every(0x200, 1, 3, 4)], NAV, rare)
    assert state(heard["RARE"]) == ("PASS", "present")


def test_nothing_heard_is_cannot_tell() -> None:
    found = judge([], NAV, SONAR)
    assert [state(unit) for unit in found.values()] == [("UNSURE", ""), ("UNSURE", "")]
    assert "can't tell" in found["NAV"].text


def test_late_only_where_power_on_is_known() -> None:
    rows = every(0x7, 0.05, 0.3, 10) + every(0x100, 0.1, 3.0, 10)
    assert state(judge(rows, CLOCK, NAV)["NAV"]) == ("PASS", "present")
    late = judge(rows, CLOCK, NAV, power_on_s=0.1)["NAV"]
    assert state(late) == ("FAIL", "late")
    assert "2.90 s" in late.text
    assert "1.5 s" in late.text
    assert state(judge(rows, CLOCK, NAV, power_on_s=1.5)["NAV"]) == ("PASS", "present")
    # who came in after the boot time can't tell late from early
    tally = TrafficTally(START, {0: watch_of([NAV])})
    tally.update(batch_of(every(0x100, 0.1, 3.0, 10)))
    (unit,) = judge_presence(
        [NAV], tally.buses[0], start_ns=START + int(2.9 * S), end_ns=START + 10 * S, power_on_ns=START
    )
    assert unit.state is PresenceState.PRESENT


def test_lost() -> None:
    rows = every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 8.0)
    lost = judge(rows, CLOCK, NAV)["NAV"]
    assert state(lost) == ("FAIL", "lost")
    assert state(judge(every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 9.2), CLOCK, NAV)["NAV"]) == ("PASS", "present")


def test_intermittent() -> None:
    rows = every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 3) + every(0x100, 0.1, 4, 6) + every(0x100, 0.1, 7, 10)
    unit = judge(rows, CLOCK, NAV)["NAV"]
    assert state(unit) == ("FAIL", "intermittent")
    assert "2 gaps" in unit.text
    assert unit.max_gap_s == pytest.approx(1.1)


def test_one_frame_that_is_missing_is_not_intermittent() -> None:
    rows = every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 5) + every(0x100, 0.1, 5.1, 10)
    assert state(judge(rows, CLOCK, NAV)["NAV"]) == ("PASS", "present")


def test_bursts_and_single_frames_are_not_intermittent() -> None:
    burst = UnitExpectation("BURST", ((0x300, False, None),), 1.0)
    once = UnitExpectation("ONCE", ((0x301, False, 0.1),), 1.0)
    rows = every(0x7, 0.05, 0, 10) + every(0x300, 0.001, 2, 2.01) + every(0x300, 0.001, 8, 8.01) + every(0x301, 1, 0, 1)
    found = judge(rows, CLOCK, burst, once)
    assert state(found["BURST"]) == state(found["ONCE"]) == ("PASS", "present")


def test_a_silence_of_the_whole_bus_is_charged_to_nobody() -> None:
    rows = [row for row in every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 10) if not 3 * S < row[0] - START < 5 * S]
    found = judge(rows, CLOCK, NAV)
    assert [state(unit) for unit in found.values()] == [("PASS", "present")] * 2
    assert found["NAV"].max_gap_s == pytest.approx(2.0)  # plain, as evidence


def test_a_gap_longer_than_the_silence_in_it_is_charged() -> None:
    rows = [row for row in every(0x7, 0.05, 0, 10) if not 3 * S < row[0] - START < 5 * S]
    rows += every(0x100, 0.1, 0, 2.0) + every(0x100, 0.1, 5.0, 10)
    assert state(judge(rows, CLOCK, NAV)["NAV"]) == ("FAIL", "intermittent")


def test_a_clock_step_is_charged_to_nobody() -> None:
    before, after = every(0x7, 0.05, 0, 5) + every(0x100, 0.1, 0, 5), every(0x7, 0.05, 5, 10) + every(0x100, 0.1, 5, 10)
    for step in (7200 * S, -3 * S):
        moved = sorted(before) + [(row[0] + step, *row[1:]) for row in sorted(after)]
        tally = TrafficTally(START, {0: watch_of([CLOCK, NAV])})
        tally.update(batch_of(moved))
        found = judge_presence([CLOCK, NAV], tally.buses[0], start_ns=START, end_ns=moved[-1][0], power_on_ns=None)
        assert [state(unit) for unit in found] == [("PASS", "present")] * 2


@pytest.mark.parametrize("step_s", [7200, 86400, -3, -60, -86400])
@pytest.mark.parametrize(("end_s", "expected"), [(2.5, ("UNSURE", "missing")), (10, ("FAIL", "missing"))])
def test_what_the_clock_stepped_by_is_no_time_of_listening(
    step_s: int, end_s: float, expected: tuple[str, str]
) -> None:
    # CLOCK goes on evenly; the recorder's clock is set to another time 1 s after the beginning. SONAR may take 2 s to
    # boot, and is missing after 1.25 s more, of what was really recorded
    rows = every(0x7, 0.05, 0, end_s)
    moved = [(row[0] + step_s * S * (row[0] >= START + S), *row[1:]) for row in rows]
    tally = TrafficTally(START, {0: watch_of([CLOCK, SONAR])})
    tally.update(batch_of(moved))
    found = judge_presence([CLOCK, SONAR], tally.buses[0], start_ns=START, end_ns=moved[-1][0], power_on_ns=START)
    assert [state(unit) for unit in found] == [("PASS", "present"), expected]


def test_a_bus_that_fell_silent_to_the_end_is_cannot_tell() -> None:
    found = judge(every(0x7, 0.05, 0, 6) + every(0x100, 0.1, 0, 6), CLOCK, NAV)
    assert {state(unit) for unit in found.values()} == {("UNSURE", "present")}
    assert "whole bus" in found["NAV"].text


def test_the_only_talker_that_pauses_is_cannot_tell() -> None:
    found = judge(every(0x100, 0.1, 0, 4) + every(0x100, 0.1, 7, 10), NAV)
    assert state(found["NAV"]) == ("UNSURE", "present")


def test_dropped_frames_make_every_absence_unsure() -> None:
    rows = every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 3) + every(0x100, 0.1, 4, 10)
    found = judge(rows, CLOCK, NAV, SONAR, dropped=3)
    assert state(found["CLOCK"]) == ("PASS", "present")
    assert state(found["NAV"]) == ("UNSURE", "intermittent")
    assert state(found["SONAR"]) == ("UNSURE", "missing")
    assert "3 frames" in found["SONAR"].text


def test_unexpected_identifiers_have_an_entry_each() -> None:
    rows = every(0x100, 0.1, 0, 10) + every(0x100, 1, 0, 10, 1) + every(0x55, 1, 0, 2)
    found = judge(rows, NAV)
    assert list(found) == ["NAV", "055", "00000100"]
    assert state(found["055"]) == ("FAIL", "unexpected")
    # without expectations nothing is unexpected
    assert judge(rows) == {}


def test_described_identifiers_without_a_sender_are_not_unexpected() -> None:
    rows = every(0x100, 0.1, 0, 10) + every(0x55, 1, 0, 10)
    tally = TrafficTally(START, {0: watch_of([NAV])})
    tally.update(batch_of(sorted(rows)))
    found = judge_presence([NAV], tally.buses[0], start_ns=START, end_ns=START + 10 * S, also_known=[(0x55, False)])
    assert [unit.unit for unit in found] == ["NAV"]


def test_the_worst_of_a_unit_is_told() -> None:
    both = UnitExpectation("NAV", ((0x100, False, 0.1), (0x101, False, 0.1)), 1.5)
    rows = every(0x7, 0.05, 0, 10) + every(0x100, 0.1, 0, 3) + every(0x100, 0.1, 4, 10) + every(0x101, 0.1, 0, 5)
    assert state(judge(rows, CLOCK, both)["NAV"]) == ("FAIL", "lost")


def test_only_error_frames_are_cannot_tell() -> None:
    tally = TrafficTally(START, {0: watch_of([NAV])})
    tally.update(batch_of([(START, 0, 0x80, 4, bytes(8))]))
    (unit,) = judge_presence([NAV], tally.buses[0], start_ns=START, end_ns=START + S)
    assert unit.verdict is Outcome.UNSURE
    assert "error frames" in unit.text


def test_a_tally_that_did_not_watch_is_refused() -> None:
    tally = BusTally(START)
    tally.update(batch_of(every(0x100, 0.1, 0, 1)))
    with pytest.raises(ValueError, match="watch_of"):
        judge_presence([NAV], tally, start_ns=START, end_ns=START + S)
