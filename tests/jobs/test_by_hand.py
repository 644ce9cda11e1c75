from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from benchcheck.bench.breakout_lead import BreakoutLead
from benchcheck.harness.model import Gender
from benchcheck.jobs.asked import BackAsked, QuestionKind, SkipAsked, StopAsked
from benchcheck.jobs.breakouts import Breakouts
from benchcheck.jobs.by_hand import ByHand, HandSupply, TypedMeter
from benchcheck.profile.load import load_profile
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import ReadingState

PLUGGED = BenchState(on_unit=frozenset({"P1"}), supply_on=True)


class Scripted:
    """A person with prepared answers; StopAsked when they have run out."""

    def __init__(self, *answers: str) -> None:
        self.answers = list(answers)
        self.asked = []
        self.told = []

    def ask(self, question):
        self.asked.append(question)
        if not self.answers:
            raise StopAsked
        return self.answers.pop(0)

    def tell(self, text):
        self.told.append(text)


@pytest.fixture(scope="module")
def harness():
    return load_profile(Path(__file__).parents[2] / "profiles" / "starter")


def by_hand(harness, person, *, typed=True, commanded=False):
    return ByHand(harness, person, typed=typed, commanded=commanded)


def test_the_first_state_is_told_whole_and_then_only_what_changes(harness):
    person = Scripted("", "", "")
    hands = by_hand(harness, person)
    hands.bring_to(ALL_OPEN, PLUGGED)
    assert person.asked[0].todo == (
        "open every connector and push in every protector, take off every clip, plug, lead and load, "
        "put back what is lifted; then:",
        "plug P1 into its unit",
    )
    hands.bring_to(PLUGGED, BenchState(on_unit=frozenset({"P1"}), breakout=frozenset({"P2"}), supply_on=True))
    assert person.asked[1].todo == ("put a breakout lead on P2",)


def test_a_state_that_was_broken_off_is_told_whole_again(harness):
    person = Scripted("", "skip no time", "")
    hands = by_hand(harness, person)
    hands.bring_to(ALL_OPEN, ALL_OPEN)
    with pytest.raises(SkipAsked, match="no time"):
        hands.bring_to(ALL_OPEN, PLUGGED)
    hands.bring_to(ALL_OPEN, PLUGGED)
    assert person.asked[-1].todo[0].startswith("open every connector")


def test_before_a_commanded_supply_comes_on_the_person_is_told(harness):
    person = Scripted("")
    by_hand(harness, person, commanded=True).bring_to(ALL_OPEN, BenchState(supply_on=True))
    assert person.asked[0].todo[-1] == "stand clear: the supply now comes on, 24 V, at most 1.9 A"


def test_touching_is_asked_only_where_an_instrument_reads(harness):
    typing, watching = Scripted("0.3"), Scripted("")
    hands = by_hand(harness, typing)
    hands.touch("P1-1", "P1-2")
    assert typing.asked == []
    TypedMeter(hands, MeterSpec(), "Ann").ohms()
    assert (typing.asked[0].red, typing.asked[0].black) == ("P1-1", "P1-2")
    hands = by_hand(harness, watching, typed=False)
    hands.touch("P1-1", "P1-2")
    hands.touch("P1-1", "P1-2")
    assert [question.kind for question in watching.asked] == [QuestionKind.TOUCH]


def test_how_each_lead_gets_there_is_told_for_the_state_that_was_confirmed(harness):
    person = Scripted("", "0.3", "", "0.3")
    hands = by_hand(harness, person)
    meter = TypedMeter(hands, MeterSpec(), "Ann")
    hands.bring_to(ALL_OPEN, ALL_OPEN)
    hands.touch("P1-2", "TB1-4")
    meter.ohms()
    assert person.asked[-1].how == (
        "red, P1-2: matching test pin of size 20, never a probe tip in a socket: it spreads it; "
        "upper row, 2nd from the right, looking at the mating face (sockets)",
        "black, TB1-4: on its screw; 1st from the right",
    )
    assert person.asked[-1].how_short == (
        "test pin size 20, no tip; mating face, upper row, 2nd from the right",
        "on its screw; 1st from the right",
    )
    hands.bring_to(ALL_OPEN, BenchState(breakout=frozenset({"P1"})))
    hands.touch("P1-2", "GND1")
    meter.ohms()
    assert person.asked[-1].how[0] == "red, P1-2: socket 2 of the breakout lead at P1"


def test_how_a_tap_and_a_load_are_joined_is_told(harness):
    person = Scripted("", "", "")
    hands = by_hand(harness, person)
    hands.bring_to(ALL_OPEN, BenchState(breakout=frozenset({"P2"})))
    hands.tap("tap1", "P2-7", "P2-8", 4800)
    assert person.asked[-1].how == (
        "receive wire, P2-7: socket 7 of the breakout lead at P2",
        "ground, P2-8: socket 8 of the breakout lead at P2",
    )
    hands.load(("P1-1", "TB1-4"), 0.5)
    assert person.asked[-1].how[0].startswith("from, P1-1: matching test pin of size 20")
    assert person.asked[-1].how[1] == "to, TB1-4: on its screw; 1st from the right"


def test_the_breakout_lead_of_the_bench_is_named_with_its_own_sockets(harness):
    day_ns = 86_400_000_000_000
    sockets = {f"way {pin}": pin for pin in harness.connectors["P1"].contacts}
    lead = BreakoutLead("lead A", "dsub9", Gender.PIN, 0.1, 0.02, date(1970, 1, 1), 30, "", sockets)
    person = Scripted("", "0.3")
    hands = ByHand(
        harness, person, typed=True, commanded=False, breakouts=Breakouts(harness, [lead], lambda: 3 * day_ns)
    )
    hands.bring_to(ALL_OPEN, BenchState(breakout=frozenset({"P1"})))
    assert person.asked[0].todo[-1] == "put the breakout lead 'lead A' on P1"
    hands.touch("P1-2", "GND1")
    TypedMeter(hands, MeterSpec(), "Ann").ohms()
    assert person.asked[-1].how_short[0] == "socket way 2 of the breakout lead at P1"


def test_what_is_no_reading_is_asked_again_with_the_hint(harness):
    person = Scripted("about two", "12 V", "OL")
    reading = TypedMeter(by_hand(harness, person), MeterSpec(), "Ann").ohms()
    assert reading.state is ReadingState.OVER
    assert reading.instrument == "typed by Ann"
    assert "no reading" in person.asked[1].why
    assert "in volts" in person.asked[2].why


@pytest.mark.parametrize(("typed", "raised"), [("skip because", SkipAsked), ("BACK", BackAsked), (" quit ", StopAsked)])
def test_ways_out(harness, typed, raised):
    with pytest.raises(raised):
        TypedMeter(by_hand(harness, Scripted(typed)), MeterSpec(), "Ann").ohms()


def test_enter_means_done_and_a_reading_there_is_refused(harness):
    person = Scripted("0.3", "")
    by_hand(harness, person).load(("P1-1", "P1-2"), 0.5)
    assert "press Enter when it is done" in person.asked[1].why


def test_a_supply_switched_by_hand_is_asked_off_and_where_nobody_answers_it_is_said(harness):
    person = Scripted("", "")
    hands = by_hand(harness, person)
    supply = HandSupply(hands, TypedMeter(hands, MeterSpec(), "Ann"))
    supply.leave_off()
    assert person.asked == []  # it was never on
    supply.set(24.0, 1.5)
    supply.on()
    assert person.asked[-1].todo[0] == "set the supply to 24 V, current limit 1.5 A"
    supply.leave_off()
    supply.off()
    assert len(person.asked) == 2  # asked off once
    with pytest.raises(StopAsked):
        supply.on()
    supply.leave_off()
    assert person.told == ["The supply is switched by hand: see that it is OFF."]
