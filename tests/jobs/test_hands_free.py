"""Hands-free reading in a whole stage: a technician who lifts, touches and presses at a bench whose meter can be asked."""

from __future__ import annotations

import dataclasses
import math

import pytest
from model_bench import Job, MemoryRecord, ModelBench, job_on, shipped

from benchcheck.jobs.asked import Question, QuestionKind, StopAsked
from benchcheck.jobs.by_hand import ByHand, Following
from benchcheck.jobs.fixed_lead import PROVED
from benchcheck.jobs.hands_free import BY_ITSELF_WORDS, PRESS_WORDS, STILL_ON, HandsFree, attending
from benchcheck.jobs.runner import Runner, Watcher
from benchcheck.readiness.due_again import due_again
from benchcheck.simulator.faults import Fault, OpenRun
from benchcheck.words.event import EventKind
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.settling import BY_ITSELF, BY_PRESS, BY_WORD
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

SPEC = MeterSpec()
PLAN = shipped("starter")[1]
LEADS_OHM = 0.2


class HeldMeter:
    """The model bench's meter in somebody's hands: `probes` None is lifted, ("", "") the two together."""

    by_itself = True
    identity = "held meter"
    spec = SPEC

    def __init__(self, bench: ModelBench) -> None:
        self._bench = bench
        self.probes: tuple[str, str] | None = None

    def ohms(self) -> Reading:
        if self.probes == ("", ""):
            return Reading(ReadingState.VALUE, "ohm", LEADS_OHM, SPEC.ohm_uncertainty(LEADS_OHM))
        value = math.inf if self.probes is None else self._bench.model.ohms(*self.probes)
        if value > SPEC.ohm_max:
            return Reading(ReadingState.OVER, "ohm", over_above=SPEC.ohm_max, instrument=self.identity)
        return Reading(ReadingState.VALUE, "ohm", value, SPEC.ohm_uncertainty(value), instrument=self.identity)

    def volts(self) -> Reading:
        value = 0.0 if self.probes is None else self._bench.model.volts(*self.probes)
        return Reading(ReadingState.VALUE, "V", value, SPEC.volt_uncertainty(value), instrument=self.identity)


class Technician:
    """Does what is asked: lifts, takes a second to get there, touches, and presses Enter where told to, not before.

    clumsy    touches for a moment, slips, and touches again
    presses   never uses what is taken by itself: Enter at each
    """

    attends = True

    def __init__(self, bench: ModelBench, meter: HeldMeter, *, clumsy: bool = False, presses: bool = False) -> None:
        self._bench, self._meter = bench, meter
        self._clumsy, self._presses = clumsy, presses
        self._moves: list[tuple[float, object]] = []
        self.shown: list[Question] = []
        self.asked: list[Question] = []
        self.told: list[str] = []
        self.rung = 0

    def ask(self, question: Question) -> str:
        assert question.kind in (QuestionKind.STATE, QuestionKind.LOAD), question
        self.asked.append(question)
        return ""

    def tell(self, text: str) -> None:
        self.told.append(text)

    def ring(self) -> None:
        self.rung += 1

    def show(self, question: Question) -> None:
        self.shown.append(question)
        now, at = self._bench.now_s, (question.red, question.black)
        press = self._presses or PRESS_WORDS in question.todo
        self._moves = [(now + 0.5, None), (now + 1.5, at)]
        if self._clumsy:
            self._moves += [(now + 1.7, None), (now + 1.8, at), (now + 1.95, None), (now + 2.1, at)]
        if press:
            self._moves.append((now + 3.0, "press"))

    def typed(self, wait_s: float) -> str | None:
        self._bench.clock.advance(wait_s)
        while self._moves and self._bench.now_s >= self._moves[0][0]:
            move = self._moves.pop(0)[1]
            if move == "press":
                return ""
            self._meter.probes = move
        return None


class HeldHands(ByHand):
    """What the technician is asked to move is moved on the model."""

    def __init__(self, bench: ModelBench, harness, person: Technician) -> None:
        hands_free = HandsFree(person, SPEC, bench.clock.monotonic_ns, harness.limits.near_zero_v)
        super().__init__(harness, person, typed=False, commanded=True, hands_free=hands_free)
        self._bench = bench

    def bring_to(self, now, wanted) -> None:
        super().bring_to(now, wanted)
        self._bench.hands.bring_to(wanted)


def held_job(*faults: Fault, harness=None, kind=Technician, **habits) -> tuple[Job, Technician]:
    shipped_harness, plan, context = shipped("starter")
    made = harness or shipped_harness
    bench = ModelBench(made, faults)
    meter = HeldMeter(bench)
    person = kind(bench, meter, **habits)
    record, said = MemoryRecord(), []
    hands = HeldHands(bench, made, person)
    runner = Runner(
        made, plan, context, bench, hands, record, who="test", progress=said.append, meter=meter,
        watcher=Following(hands, Watcher()),
    )  # fmt: skip
    return Job(bench, record, runner, said), person


def readings(job: Job):
    return {body["step"]: body for body in job.record.bodies(EventKind.READING) if body.get("step")}


@pytest.mark.parametrize("clumsy", [False, True])
def test_a_dead_stage_without_a_key_but_where_open_passes(clumsy):
    job, person = held_job(clumsy=clumsy)
    board = job.run([Stage.DEAD])
    assert {board.outcome(step.id) for step in job.runner.plan.of_stage(Stage.DEAD)} == {Outcome.PASS}
    found = readings(job)
    for step in job.runner.plan.of_stage(Stage.DEAD):
        detail = found[step.id]["reading"]["detail"]
        if step.band.high is None:
            assert detail["taken"] == BY_PRESS
            assert (detail.get("contact") == BY_WORD) == (found[step.id]["reading"]["state"] == "over")
        else:
            assert (detail["taken"], "contact" in detail) == (BY_ITSELF, False)
    touches = [question for question in person.shown if question.kind is QuestionKind.TOUCH]
    assert {q.todo[-1] for q in touches} == {BY_ITSELF_WORDS, PRESS_WORDS}
    assert person.rung >= len(job.runner.plan.of_stage(Stage.DEAD))
    assert STILL_ON in person.told  # at first the probes are where they were


def test_what_was_read_is_what_hands_that_hold_still_read():
    job, _ = held_job()
    board = job.run([Stage.DEAD])
    steady = job_on(*shipped("starter")).run([Stage.DEAD])
    for step in job.runner.plan.of_stage(Stage.DEAD):
        one, other = board.results[step.id].reading, steady.results[step.id].reading
        assert one.state is other.state
        if one.state is ReadingState.VALUE:
            assert one.value == pytest.approx(other.value, abs=one.uncertainty + other.uncertainty)


def test_an_open_run_is_not_taken_by_itself():
    """Its reading looks like lifted probes: the technician waits in vain, then presses."""
    job, person = held_job(OpenRun("W3"))
    waited = []

    def typed(wait_s, of=person.typed):
        said = of(wait_s)
        if said is None and not person._moves:
            waited.append(job.bench.now_s)
            if len(waited) > 100:
                waited.clear()
                return ""
        return said

    person.typed = typed
    board = job.run([Stage.DEAD])
    result = board.results["continuity:W3"]
    assert result.outcome is Outcome.FAIL
    assert result.reading.detail["taken"] == BY_PRESS
    assert result.reading.detail["contact"] == BY_WORD
    assert job.squawks == [("open_run", ("W3",))]


# --- contact that has to be proved ------------------------------------------------------------------------------------


def strict_harness():
    harness = shipped("starter")[0]
    return dataclasses.replace(harness, limits=dataclasses.replace(harness.limits, contact_by_word=False))


def pairs(person: Technician) -> list[tuple[str, str]]:
    return [(question.red, question.black) for question in person.shown if question.red and not question.why]


def test_a_profile_that_wants_contact_proved_has_the_fixed_lead_read_before_and_after():
    job, person = held_job(harness=strict_harness())
    board = job.run([Stage.DEAD])
    read = pairs(person)
    runs = [frozenset(run.ends) for run in job.runner.harness.runs]
    through = [
        frozenset((part.a, part.b)) for part in job.runner.harness.parts
    ]  # a contact that only a protector leads on from
    proofs = [number for number, pair in enumerate(read) if frozenset(pair) in runs + through]
    open_ones = [r for r in board.results.values() if r.reading.state is ReadingState.OVER and r.step.band.high is None]
    assert len(open_ones) > 10
    for result in open_ones:
        assert (result.outcome, result.reading.detail["contact"]) == (Outcome.PASS, PROVED)
        ends = {result.step.red, result.step.black}
        at = [number for number, pair in enumerate(read) if set(pair) == ends][-1]
        of_them = [number for number in proofs if ends & set(read[number])]
        assert any(number < at for number in of_them)
        assert any(number > at for number in of_them)


def test_a_profile_that_no_longer_takes_a_word_has_those_steps_done_again():
    lenient, strict = shipped("starter")[0], strict_harness()
    again = due_again(lenient, strict).again
    open_passes = {s.id for s in PLAN.of_stage(Stage.DEAD) if s.band is not None and s.band.high is None}
    assert open_passes <= set(again)
    assert "continuity:W3" not in again
    assert all("proved now" in again[step] for step in open_passes)
    assert due_again(strict, lenient).again == {}


def test_a_contact_on_which_no_lead_can_be_proved_is_unsure():
    job, _ = held_job(harness=strict_harness())
    job.runner._asker._fixed.new_batch = lambda contact, state, unit: None
    board = job.run([Stage.DEAD])
    open_ones = [r for r in board.results.values() if r.reading.state is ReadingState.OVER]
    assert {(r.outcome, r.verdict.reason) for r in open_ones} == {(Outcome.UNSURE, "contact_not_proved")}
    assert "by the operator's word" in open_ones[0].verdict.text


def test_no_volts_is_proved_by_the_feed_at_its_source():
    job, person = held_job(harness=strict_harness())
    job.run([Stage.DEAD])
    person.shown.clear()
    board = job.run([Stage.POWER])
    without = [r for r in board.results.values() if r.step.check == "no_volts"]
    assert without
    assert {(r.outcome, r.reading.detail["contact"]) for r in without} == {(Outcome.PASS, PROVED)}
    feed = next(feed for feed in job.runner.harness.feeds if not feed.converter)
    read, of_them = pairs(person), {(r.step.red, r.step.black) for r in without}
    at = [number for number, pair in enumerate(read) if pair in of_them]
    assert (feed.source, feed.ground) in read[: at[0]]
    assert (feed.source, feed.ground) in read[at[-1] :]


class Slipping(Technician):
    """Whose black lead comes off its contact without being noticed, once, and is put back when its proof fails."""

    slipped = False
    waited = 0

    def typed(self, wait_s: float) -> str | None:
        said = super().typed(wait_s)
        if self.slipped and self._meter.probes is not None:
            self._meter.probes = None  # open, whatever the red lead is on
        self.waited = 0 if said == "" or self._moves else self.waited + 1
        if self.waited > 100:  # it is not taken by itself: pressed
            self.waited = 0
            return ""
        return said


def test_a_fixed_lead_that_came_off_makes_its_whole_batch_due_again():
    harness = strict_harness()
    job, person = held_job(harness=harness, kind=Slipping)
    lost: list[str] = []

    class Watch(Watcher):
        def result(self, result):
            if not lost and result.reading.detail.get("contact") == PROVED:
                lost.append(result.step.id)
                person.slipped = True

    job.runner._watcher = Watch()
    inner = job.runner._contact_lost

    def put_back(again):
        person.slipped = False
        inner(again)

    job.runner._asker._fixed._on_lost = put_back
    board = job.run([Stage.DEAD])
    (body,) = job.record.bodies(EventKind.REWORK)
    assert lost[0] in body["again"]
    assert "is not proved" in body["reason"]
    # all of them were read again, and then with a lead that was proved
    for step in body["again"]:
        taken = [b for b in job.record.bodies(EventKind.READING) if b.get("step") == step]
        assert len(taken) >= 2
        assert board.outcome(step) is Outcome.PASS


def test_a_batch_that_is_broken_off_proves_nothing():
    job, _ = held_job(harness=strict_harness())
    done: list[str] = []

    class Watch(Watcher):
        def result(self, result):
            if result.reading.detail.get("contact") == PROVED:
                done.append(result.step.id)
                if len(done) == 2:
                    raise StopAsked

    job.runner._watcher = Watch()
    with pytest.raises(StopAsked):
        job.run([Stage.DEAD])
    (body,) = job.record.bodies(EventKind.REWORK)
    assert done[-1] in body["again"]
    assert "broken off" in body["reason"]
    assert done[-1] not in job.runner.board.results


def test_the_ways_out_of_a_question_are_there_while_the_meter_reads():
    job, person = held_job()
    said = iter(["skip no time", "what?", "quit"])

    def typed(wait_s, of=person.typed):
        answer = of(wait_s)
        if person.shown[-1].red and answer is None and not person._moves[1:]:
            return next(said)
        return answer

    person.typed = typed
    with pytest.raises(StopAsked):
        job.run([Stage.DEAD])
    assert [body["reason"] for body in job.record.bodies(EventKind.SKIPPED)] == ["left out by test: no time"]
    assert any("wants no reading" in question.why for question in person.shown)


def test_only_a_person_whose_keys_can_be_looked_at_is_read_hands_free():
    bench = ModelBench(shipped("starter")[0])
    person = Technician(bench, HeldMeter(bench))
    assert attending(person) is person
    person.attends = False
    assert attending(person) is None
    assert attending(object()) is None
