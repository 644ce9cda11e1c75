"""Runs work in a thread of its own that waits at each question, so that a screen stays alive meanwhile."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass

from benchcheck.bench.clock import Clock
from benchcheck.jobs.asked import Question, StopAsked


@dataclass(frozen=True, slots=True)
class Asked:
    """The work waits for an answer."""

    question: Question


@dataclass(frozen=True, slots=True)
class Told:
    """The work says something that wants no answer."""

    text: str


@dataclass(frozen=True, slots=True)
class Ended:
    """The work is over: what it gave, or what it raised."""

    value: object = None
    error: BaseException | None = None


Said = Asked | Told | Ended


class Dialogue:
    """One piece of work at a time, and the person it talks to.

    `hear` is called from the work's thread with everything that it says; it must pass it on and return at once.
    `start`, `answer` and `stop` are called from the screen's side. `ask` and `tell` make this a Person.
    """

    def __init__(self, hear: Callable[[Said], None]) -> None:
        self.hear = hear
        self._answers: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def busy(self) -> bool:
        """Whether work is under way."""
        return self._thread is not None and self._thread.is_alive()

    def start(self, work: Callable[[], object]) -> None:
        """Begin; what comes of it is heard as Ended. One at a time."""
        self.join()
        self._stopping.clear()
        while not self._answers.empty():
            self._answers.get_nowait()
        # a daemon, so that an instrument that hangs can't keep the program from ending
        self._thread = threading.Thread(target=self._run, args=(work,), name="bench work", daemon=True)
        self._thread.start()

    def answer(self, text: str) -> None:
        """What the person typed."""
        self._answers.put(text)

    def stop(self) -> None:
        """The work ends at its next question or pause, with StopAsked."""
        self._stopping.set()
        self._answers.put(None)

    def join(self, timeout_s: float | None = None) -> None:
        """Wait until the work is over."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    # --- from the work's thread ---------------------------------------------------------------------------------

    def ask(self, question: Question) -> str:
        self.check()
        self.hear(Asked(question))
        text = self._answers.get()
        if text is None:
            raise StopAsked
        return text

    def tell(self, text: str) -> None:
        self.hear(Told(text))

    def check(self) -> None:
        """Raise StopAsked where the work is to end."""
        if self._stopping.is_set():
            raise StopAsked

    def _run(self, work: Callable[[], object]) -> None:
        try:
            ended = Ended(work())
        except BaseException as error:  # whatever it is, the screen hears of it: a silent thread would be worse
            ended = Ended(error=error)
        self.hear(ended)


class StoppableClock(Clock):
    """A clock whose pauses end when the dialogue is to end: listening takes seconds, and nobody waits for it then."""

    def __init__(self) -> None:
        super().__init__()
        self.check: Callable[[], None] = lambda: None

    def sleep(self, seconds: float) -> None:
        self.check()
        super().sleep(seconds)
