"""A person at a console: questions and answers in plain lines, one after the other, for screen readers and pipes."""

from __future__ import annotations

import contextlib
import io
import os
import select
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, TextIO

from benchcheck.cli.output import say
from benchcheck.jobs.asked import BACK, QUIT, SKIP, Question, QuestionKind, StopAsked
from benchcheck.jobs.runner import Watcher
from benchcheck.report.step_rows import limit_words
from benchcheck.report.visible import visible
from benchcheck.words.person import name_fault
from benchcheck.words.verdict import Outcome

if TYPE_CHECKING:
    from benchcheck.plan.plan import Plan
    from benchcheck.words.result import Result
    from benchcheck.words.step import Stage, Step

SHAPES = {Outcome.PASS: "(+)", Outcome.FAIL: "(X)", Outcome.UNSURE: "(?)", Outcome.SKIPPED: "(>)"}
WORDS = (
    "Words that are understood instead of a reading: skip REASON, back, quit, zero (measure the leads again). "
    "OL is what a meter shows when open."
)
_LONGEST_LINE = 10_000
_SLICE_S = 0.5


class Console:
    """A Person who reads stderr and types on stdin. At the end of the input everything asked raises StopAsked."""

    def __init__(self, stdin: TextIO | None = None) -> None:
        self._stdin = stdin if stdin is not None else lenient_stdin()
        self._ended = False

    @property
    def at_terminal(self) -> bool:
        """Whether somebody sits there, who may be asked more than a script was written for."""
        return self._stdin.isatty()

    @property
    def attends(self) -> bool:
        """Whether keys can be looked at while the meter reads: at a terminal, where one line is one answer."""
        return self.at_terminal and os.name != "nt"

    def show(self, question: Question) -> None:
        """Put a question and wait for nothing."""
        self._say(question)

    def typed(self, wait_s: float) -> str | None:
        """A line, if one is typed within so many seconds."""
        if self._ended:
            raise StopAsked
        if not select.select([self._stdin], [], [], wait_s)[0]:
            return None
        line = self._stdin.readline(_LONGEST_LINE)
        if not line:
            self._ended = True
            raise StopAsked
        return line.strip()

    def ring(self) -> None:
        """The terminal's bell; always doubled by words."""
        if sys.stderr.isatty():
            with contextlib.suppress(OSError):
                sys.stderr.write("\a")
                sys.stderr.flush()

    def ask(self, question: Question) -> str:
        if self._ended:
            raise StopAsked
        try:
            return self._ask(question)
        except BaseException:
            self._ended = True  # Ctrl-C: what is asked on the way out must not wait for anybody
            raise

    def _say(self, question: Question) -> None:
        if question.why:
            say(f"  ! {visible(question.why)}")
        if not question.why:
            first = 1 if question.kind is QuestionKind.READING else len(question.todo)
            for text in question.todo[:first]:
                say(f"  {visible(text)}")
            for text in question.how:
                say(f"    {visible(text)}")
            for text in question.todo[first:]:
                say(f"  {visible(text)}")

    def _ask(self, question: Question) -> str:
        self._say(question)
        match question.kind:
            case QuestionKind.READING | QuestionKind.AMBIENT:
                prompt = f"  {question.unit}> "
            case QuestionKind.LEADS:
                prompt = f"  {question.unit} of the leads> "
            case QuestionKind.CAUTIONS:
                prompt = "  your name> "
            case _:
                prompt = "  Enter when done> "
        while True:
            typed = self._line(prompt)
            # a reading typed where a name is asked for must not become a signature
            wrong = name_fault(typed) if question.kind is QuestionKind.CAUTIONS and not _is_word(typed) else ""
            if not typed or not wrong:
                return typed
            say(f"  ! {visible(wrong)}. Type your name, or quit.")

    def _line(self, prompt: str) -> str:
        sys.stderr.write(prompt)
        sys.stderr.flush()
        try:
            _wait_for_a_line(self._stdin)
            line = self._stdin.readline(_LONGEST_LINE)
        except BaseException:
            self.tell("")
            raise
        if not line:
            self.tell("")
            raise StopAsked
        if not self._stdin.isatty():
            say(visible(line.rstrip("\r\n")))  # so that a log reads as a terminal would show it
        return line.strip()

    def tell(self, text: str) -> None:
        with contextlib.suppress(OSError):  # a terminal that is gone must not keep the supply from going off
            say(f"  {visible(text)}" if text else "")


class ConsoleWatcher(Watcher):
    """Prints each step before it is done, and what came of it."""

    def __init__(self, plan: Plan, on_result: Callable[[str], None], *, quiet: bool = False) -> None:
        self._quiet = quiet  # nobody is asked, so only what came of a step is worth a line
        self._numbers = {step.id: number for number, step in enumerate(plan.steps, 1)}
        self._on_result = on_result
        self._why_skipped = ""
        self.results: list[Result] = []

    def step(self, step: Step) -> None:
        self._why_skipped = ""
        if self._quiet:
            return
        say("")
        say(visible(f"{self._numbers[step.id]} of {len(self._numbers)}  {step.question}"))
        if step.band is not None:
            limit = limit_words(step.band.low, step.band.high, step.band.unit)
            say(visible(f"  limit: {limit} ({step.band.source})"))
        if step.note:
            say(visible(f"  note: {step.note}"))

    def result(self, result: Result) -> None:
        self.results.append(result)
        if result.verdict.reason == "skipped" and result.verdict.text == self._why_skipped:
            return  # the same reason once more; the count at the end has them all
        self._why_skipped = result.verdict.text if result.verdict.reason == "skipped" else ""
        outcome = result.outcome
        self._on_result(visible(f"{SHAPES[outcome]} {outcome.value:7} {result.step.id}: {result.verdict.text}"))

    def diagnosing(self, stage: Stage) -> None:
        if not self._quiet and any(result.outcome is Outcome.FAIL for result in self.results):
            say("")
            say("Where does the fault lie? What is probed now belongs to no step; skip REASON leaves a probe out.")


def _is_word(typed: str) -> bool:
    return typed.partition(" ")[0].lower() in (BACK, QUIT, SKIP)


def lenient_stdin() -> TextIO:
    """stdin, with what is no text replaced: a stray byte is an answer that is asked for again, never a crash."""
    if sys.stdin is None:  # closed by whoever started us
        return io.StringIO()
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="replace")
    return sys.stdin


def _wait_for_a_line(stdin: TextIO) -> None:
    """Wait at a terminal in slices, so that a signal that comes just before the read is not slept through.

    A terminal hands out one line a read, so nothing that was typed can lie in a buffer while this waits; a pipe is
    read at once.
    """
    if os.name == "nt" or not stdin.isatty():
        return
    while not select.select([stdin], [], [], _SLICE_S)[0]:
        pass
