"""The person at the console: what is not taken for a name."""

from __future__ import annotations

import io

import pytest

from benchcheck.cli.console import Console
from benchcheck.jobs.asked import Question, QuestionKind, StopAsked

CAUTIONS = Question(QuestionKind.CAUTIONS, ("Mind the supply.",))


def test_a_reading_is_not_taken_for_the_name_that_accepts_the_cautions(capsys):
    console = Console(io.StringIO("24.0\n24 V\nOL\nAnn Example\n"))
    assert console.ask(CAUTIONS) == "Ann Example"
    err = capsys.readouterr().err
    assert "'24.0' is no name" in err
    assert err.count("is a reading, no name") == 2


@pytest.mark.parametrize("word", ["quit", "back", "skip no time", ""])
def test_words_and_nothing_are_passed_on(word):
    assert Console(io.StringIO(f"{word}\n")).ask(CAUTIONS) == word


def test_the_end_of_the_input_after_a_slip_stops():
    with pytest.raises(StopAsked):
        Console(io.StringIO("24.0\n")).ask(CAUTIONS)


def test_a_reading_is_asked_for_as_ever():
    question = Question(QuestionKind.READING, ("ohms",), "P1-1", "P2-1", "ohm")
    assert Console(io.StringIO("24.0\n")).ask(question) == "24.0"


def test_after_an_interrupt_nobody_is_waited_for_even_where_it_came_with_the_prompt(monkeypatch):
    class Interrupting(io.StringIO):
        def flush(self):
            raise KeyboardInterrupt

    console = Console(io.StringIO("0.2\n"))
    question = Question(QuestionKind.READING, ("ohms",), "P1-1", "P2-1", "ohm")
    with monkeypatch.context() as patch:
        patch.setattr("sys.stderr", Interrupting())
        with pytest.raises(KeyboardInterrupt):
            console.ask(question)
    with pytest.raises(StopAsked):
        console.ask(question)
