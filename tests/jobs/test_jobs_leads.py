"""The leads' zero of a session: measured before the first ohms, recorded, taken off, and never guessed in silence."""

from __future__ import annotations

import pytest
from model_bench import job, job_on, shipped

from benchcheck.jobs.asked import REL, BackAsked, StopAsked, ZeroAsked
from benchcheck.jobs.by_hand import ByHand, TypedMeter
from benchcheck.jobs.leads import Leads
from benchcheck.simulator import model as simulated
from benchcheck.words.errors import LinkLost
from benchcheck.words.event import EventKind
from benchcheck.words.lead_zero import READINGS, VALID_HOURS
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

SPEC = MeterSpec()
HARNESS = shipped("starter")[0]


class Scripted:
    def __init__(self, *answers):
        self.answers = list(answers)
        self.asked = []

    def ask(self, question):
        self.asked.append(question)
        if not self.answers:
            raise StopAsked
        return self.answers.pop(0)

    def tell(self, text):
        pass


class Hands:
    simulated = True
    unattended = True
    waits = False

    def __init__(self):
        self.together = 0

    def leads_together(self, contact, why):
        self.together += 1

    def leads_read(self):
        pass

    def take(self, read, unit, *, lifted_passes):
        return read()


class Shows:
    """A meter that shows prepared values."""

    identity = "prepared meter"
    spec = SPEC

    def __init__(self, *values):
        self.values = list(values)

    def ohms(self):
        value = self.values.pop(0)
        if isinstance(value, Reading):
            return value
        return Reading(ReadingState.VALUE, "ohm", value, SPEC.ohm_uncertainty(value))


def typed(*answers):
    """Leads whose meter a person reads, the events they give, and the person."""
    person, events = Scripted(*answers), []
    hands = ByHand(HARNESS, person, typed=True, commanded=False)
    leads = Leads(hands, HARNESS.chassis, lambda: 0, lambda zero, meter: events.append((zero, meter)))
    return leads, TypedMeter(hands, SPEC, "Ann"), person, events


# --- in a session -----------------------------------------------------------------------------------------------------


def test_a_session_begins_its_ohms_with_the_leads_and_records_them():
    made = job("starter")
    made.run([Stage.DEAD])
    (body,) = made.record.bodies(EventKind.LEAD_ZERO)
    assert body["ohm"] == pytest.approx(simulated.LEAD_OHM, abs=simulated.OHM_NOISE)
    assert len(body["readings"]) == READINGS
    assert (body["own_rel"], body["assumed"], body["meter"]) == (False, "", "model meter")
    readings = [b["reading"] for b in made.record.bodies(EventKind.READING) if b["reading"]["unit"] == "ohm"]
    for reading in readings:
        assert reading["detail"]["lead_ohm"] == body["ohm"]
        if reading["state"] == "value":
            assert reading["value"] == pytest.approx(reading["detail"]["raw_ohm"] - body["ohm"])
    assert {made.runner.board.outcome(step.id) for step in made.runner.plan.of_stage(Stage.DEAD)} == {Outcome.PASS}


def test_other_leads_make_no_difference(monkeypatch):
    monkeypatch.setattr(simulated, "LEAD_OHM", 0.75)
    made = job("starter")
    board = made.run([Stage.DEAD])
    assert board.results["continuity:W3"].reading.value == pytest.approx(0.07, abs=0.1)
    assert made.squawks == []


def test_a_bad_lead_proves_nothing_and_says_so(monkeypatch):
    monkeypatch.setattr(simulated, "LEAD_OHM", 3.0)
    made = job("starter")
    board = made.run([Stage.DEAD])
    result = board.results["continuity:W3"]
    assert result.outcome is Outcome.UNSURE
    assert "a lead or its plug is bad" in result.verdict.text
    assert made.record.bodies(EventKind.LEAD_ZERO) == []


def test_a_stage_without_ohms_does_without():
    made = job("starter")
    made.run()
    assert len(made.record.bodies(EventKind.LEAD_ZERO)) == 1
    again = made.rework()
    again.run([Stage.LIVE])
    assert len(made.record.bodies(EventKind.LEAD_ZERO)) == 1


def test_after_some_hours_they_are_measured_again():
    made = job_on(*shipped("starter"))
    steps = made.runner.plan.of_stage(Stage.DEAD)
    made.runner.run_step(steps[0])
    made.bench.clock.advance(VALID_HOURS * 3600 - 60)
    made.runner.run_step(steps[1])
    assert len(made.record.bodies(EventKind.LEAD_ZERO)) == 1
    made.bench.clock.advance(120)
    made.runner.run_step(steps[2])
    assert len(made.record.bodies(EventKind.LEAD_ZERO)) == 2


def test_a_meter_that_is_lost_at_its_leads_is_tried_again():
    lost = iter([False, False, True])

    def hook(device):
        if device == "meter" and next(lost, False):
            raise LinkLost("link lost")

    made = job("starter", hook=hook)
    first, second = made.runner.plan.of_stage(Stage.DEAD)[:2]
    assert made.runner.run_step(first).outcome is Outcome.UNSURE
    assert made.runner.run_step(second).outcome is Outcome.PASS


# --- the readings -----------------------------------------------------------------------------------------------------


def test_a_meter_that_does_not_answer_is_asked_once():
    meter = Shows(Reading.none("timed out", "ohm"))
    hands = Hands()
    refused = Leads(hands, "GND1", lambda: 0, lambda zero, meter: None).measure(meter)
    assert refused.state is ReadingState.NONE
    assert "timed out" in refused.detail["why"]
    assert hands.together == 1


def test_readings_that_jump_are_no_zero():
    leads = Leads(Hands(), "GND1", lambda: 0, lambda zero, meter: None)
    assert "not steady" in leads.measure(Shows(0.1, 0.1, 0.9, 0.1, 0.1)).detail["why"]
    assert leads.due


# --- by hand ----------------------------------------------------------------------------------------------------------


def test_typed_in_one_line():
    leads, meter, person, events = typed("0.2 0.3 0,1")
    assert leads.measure(meter) is None
    ((zero, who),) = events
    assert (zero.ohm, zero.readings, who) == (pytest.approx(0.2), (0.2, 0.3, 0.1), "typed by Ann")
    assert "touch the two leads together" in person.asked[0].todo[0]
    raw = Reading(ReadingState.VALUE, "ohm", 0.5, 0.3)
    assert leads.take_off(raw, meter).value == pytest.approx(0.3)
    assert leads.measure(meter) is None
    assert len(person.asked) == 1


def test_the_meters_own_relative_mode():
    leads, meter, _, events = typed(REL.upper())
    leads.measure(meter)
    assert events[0][0].own_rel
    assert leads.take_off(Reading(ReadingState.VALUE, "ohm", 0.5, 0.3), meter).value == 0.5


def test_what_is_no_zero_is_asked_again_with_the_reason():
    leads, meter, person, events = typed("garbage", "", "OL", "1.7 1.7", "0.2")
    leads.measure(meter)
    whys = [question.why for question in person.asked]
    assert "is no reading" in whys[1]
    assert "Nothing was typed" in whys[2]
    assert "OL" in whys[3]
    assert "above 1 ohm" in whys[4]
    assert events[0][0].ohm == 0.2


def test_who_will_not_measure_them_has_their_doubt_in_every_reading():
    leads, meter, _, events = typed("skip no time")
    assert leads.measure(meter) is None
    assert events[0][0].assumed == "no time"
    reading = leads.take_off(Reading(ReadingState.VALUE, "ohm", 0.5, 0.3), meter)
    assert reading.uncertainty == pytest.approx(0.3 * 0.009 + 0.2 + 0.3)


@pytest.mark.parametrize(("word", "raised"), [("back", BackAsked), ("quit", StopAsked)])
def test_ways_out(word, raised):
    leads, meter, _, events = typed(word)
    with pytest.raises(raised):
        leads.measure(meter)
    assert events == []


def test_zero_instead_of_a_reading_asks_for_it_anew():
    leads, meter, _, _ = typed("0.2", "zero")
    leads.measure(meter)
    with pytest.raises(ZeroAsked):
        meter.ohms()
    leads.forget()
    assert leads.due


def test_before_an_instrument_reads_the_person_holds_them_together():
    person = Scripted("", "")
    hands = ByHand(HARNESS, person, typed=False, commanded=False)
    leads = Leads(hands, "GND1", lambda: 0, lambda zero, meter: None)
    assert leads.measure(Shows(2.0, 2.0, 2.0, 2.0, 2.0, 0.2, 0.2, 0.2, 0.2, 0.2)) is None
    assert "together" in person.asked[0].todo[0]
    assert "bad" in person.asked[1].why
