from __future__ import annotations

import queue
import threading

import pytest

from benchcheck.jobs.asked import Question, QuestionKind, StopAsked
from benchcheck.jobs.dialogue import Asked, Dialogue, Ended, StoppableClock, Told

TOUCH = Question(QuestionKind.TOUCH, ("red on P1-1, black on P1-2",))


@pytest.fixture
def dialogue():
    heard: queue.Queue = queue.Queue()
    made = Dialogue(heard.put)
    made.heard = heard
    yield made
    made.stop()
    made.join(5)
    assert not made.busy


def test_a_question_waits_for_its_answer(dialogue):
    dialogue.start(lambda: dialogue.ask(TOUCH) + dialogue.ask(TOUCH))
    assert dialogue.heard.get(timeout=5) == Asked(TOUCH)
    assert dialogue.busy
    dialogue.answer("a")
    assert dialogue.heard.get(timeout=5) == Asked(TOUCH)
    dialogue.answer("b")
    assert dialogue.heard.get(timeout=5) == Ended("ab")


def test_stopped_at_a_question_and_started_again(dialogue):
    dialogue.start(lambda: dialogue.ask(TOUCH))
    dialogue.heard.get(timeout=5)
    dialogue.stop()
    assert isinstance(dialogue.heard.get(timeout=5).error, StopAsked)
    # neither the stop nor an answer that came too late is left over for the next work
    dialogue.answer("late")
    dialogue.start(lambda: dialogue.ask(TOUCH))
    assert dialogue.heard.get(timeout=5) == Asked(TOUCH)
    dialogue.answer("in time")
    assert dialogue.heard.get(timeout=5) == Ended("in time")


def test_stopped_in_a_pause(dialogue):
    clock, listening = StoppableClock(), threading.Event()
    clock.check = dialogue.check

    def listen():
        while True:
            listening.set()
            clock.sleep(0.001)

    dialogue.start(listen)
    assert listening.wait(5)
    dialogue.stop()
    assert isinstance(dialogue.heard.get(timeout=5).error, StopAsked)


def test_what_goes_wrong_is_heard_and_asking_after_the_stop_ends_at_once(dialogue):
    def work():
        dialogue.tell("about to go wrong")
        return 1 // 0

    dialogue.start(work)
    assert dialogue.heard.get(timeout=5) == Told("about to go wrong")
    assert isinstance(dialogue.heard.get(timeout=5).error, ZeroDivisionError)
    dialogue.stop()
    with pytest.raises(StopAsked):
        dialogue.ask(TOUCH)
