"""The self-check of a breakout lead, answered by leads that are good, cut, shorted, or other than bench.toml says."""

from __future__ import annotations

import math
from datetime import date

import pytest

from benchcheck.bench.breakout_lead import BreakoutLead
from benchcheck.harness.connector.families import FAMILIES, neighbours
from benchcheck.harness.model import Gender
from benchcheck.jobs.lead_check import check_lead, lead_questions
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.verdict import Outcome

LEAD = BreakoutLead("lead A", "dsub9", Gender.PIN, 0.1, 0.02, date(2031, 5, 4))
SPEC = MeterSpec()


class Made:
    """A lead made of resistors; `cut` ways are open, `short` pairs joined. Answers as an ordinary handheld meter does."""

    def __init__(
        self, ohm: float = 0.1, cut: frozenset[str] = frozenset(), short: frozenset[str] = frozenset()
    ) -> None:
        self.ohm, self.cut, self.short = ohm, cut, short
        self.asked = []

    def __call__(self, question):
        self.asked.append(question)
        if question.way:
            ohm = math.inf if question.way in self.cut else self.ohm
        else:
            pins = {question.red.removeprefix("socket "), question.black.removeprefix("socket ")}
            ohm = 2 * self.ohm if pins <= self.short else math.inf
        if math.isinf(ohm):
            return Reading(ReadingState.OVER, "ohm", over_above=SPEC.ohm_max)
        return Reading(ReadingState.VALUE, "ohm", ohm, SPEC.ohm_uncertainty(ohm))


def test_a_good_lead():
    made = Made()
    result = check_lead(LEAD, made)
    assert result.outcome is Outcome.PASS
    assert result.ohm == pytest.approx(0.1)
    assert [question.way for question in made.asked][:9] == [str(number) for number in range(1, 10)]
    pairs = {(q.red.split()[1], q.black.split()[1]) for q in made.asked if not q.way}
    assert pairs == neighbours(FAMILIES["dsub9"].rows)


@pytest.mark.parametrize("pin", FAMILIES["dsub9"].contacts)
def test_every_cut_way_is_found(pin):
    result = check_lead(LEAD, Made(cut=frozenset({pin})))
    assert result.outcome is Outcome.FAIL
    assert [answer.question.way for answer in result.answers if answer.outcome is Outcome.FAIL] == [pin]


@pytest.mark.parametrize("pair", sorted(neighbours(FAMILIES["dsub9"].rows)))
def test_every_short_between_neighbours_is_found(pair):
    result = check_lead(LEAD, Made(short=frozenset(pair)))
    failed = [answer for answer in result.answers if answer.outcome is Outcome.FAIL]
    assert len(failed) == 1
    assert failed[0].question.text == f"way {pair[0]} apart from way {pair[1]}:"


def test_a_way_that_conducts_but_is_not_what_bench_toml_says():
    assert check_lead(LEAD, Made(ohm=2.0)).outcome is Outcome.FAIL
    # this meter can't tell 0.1 from 0.3 ohm, so that is no fault it could find
    assert check_lead(LEAD, Made(ohm=0.3)).outcome in (Outcome.PASS, Outcome.UNSURE)

    def fine_meter(question):
        return Reading(ReadingState.VALUE, "ohm", 0.3, 0.001) if question.way else Made()(question)

    assert check_lead(LEAD, fine_meter).outcome is Outcome.FAIL


def test_what_was_not_read_proves_nothing():
    made = Made()
    result = check_lead(LEAD, lambda question: Reading.none("left out") if question.way == "4" else made(question))
    assert result.outcome is Outcome.UNSURE
    assert len(result.ways_ohm) == 8
    short_range = check_lead(LEAD, lambda q: made(q) if q.way else Reading(ReadingState.OVER, "ohm", over_above=2000.0))
    assert short_range.outcome is Outcome.UNSURE  # above 2 kohm is not above a megohm


def test_the_labels_of_its_sockets_are_used():
    lead = BreakoutLead("c", "circular", Gender.PIN, 0.1, 0.02, None, 30, "", {"red": "A", "blue": "B", "grey": "C"})
    questions = lead_questions(lead)
    assert [q.black for q in questions if q.way] == ["socket red", "socket blue", "socket grey"]
    assert len([q for q in questions if not q.way]) == 3  # its layout is not known: every two
    assert lead_questions(BreakoutLead("c", "circular", Gender.PIN, 0.1, 0.02, None)) == ()
