"""What is asked of a person at the bench, as values, and the three ways out of a question."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

SKIP, BACK, QUIT, ZERO = "skip", "back", "quit", "zero"
REL = "rel"  # the answer of a person whose meter takes its leads off itself


class QuestionKind(StrEnum):
    STATE = "state"  # bring the bench into a state
    TOUCH = "touch"  # put the leads on two contacts; an instrument reads
    LOAD = "load"  # draw a current, or take the load off
    TAP = "tap"  # join a serial tap
    SUPPLY = "supply"  # switch the supply by hand
    READING = "reading"  # read the meter and type what it shows
    LEADS = "leads"  # hold the leads together and type what the meter shows, several times in one line
    AMBIENT = "ambient"  # the temperature of the wire today, in degrees Celsius
    CAUTIONS = "cautions"  # accept them by name


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that a person is asked.

    todo        what to do, one sentence each, in order
    red, black  the contacts of the leads, where leads are wanted
    how         how each lead gets there, one sentence for each
    how_short   the same for the lines of a screen
    unit        of the reading (`ohm`, `V`, `A`); empty where nothing is read
    why         what is wrong with the answer that came before, with a hint; empty at the first asking
    """

    kind: QuestionKind
    todo: tuple[str, ...]
    red: str = ""
    black: str = ""
    unit: str = ""
    why: str = ""
    how: tuple[str, ...] = ()
    how_short: tuple[str, ...] = ()

    @property
    def is_confirmed(self) -> bool:
        """Whether Enter alone is the answer: done."""
        return self.kind not in (
            QuestionKind.READING,
            QuestionKind.LEADS,
            QuestionKind.AMBIENT,
            QuestionKind.CAUTIONS,
        )


class Person(Protocol):
    """Somebody at the bench, as reached through a console or a screen."""

    def ask(self, question: Question) -> str:
        """What the person answers, as typed. Raises StopAsked where nobody answers any more."""

    def tell(self, text: str) -> None:
        """Something that wants no answer."""


class SkipAsked(Exception):
    """The person leaves a step out, and says why."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class BackAsked(Exception):
    """The person wants to do the step before once more."""


class ZeroAsked(Exception):
    """The person wants the leads measured again before going on."""


class StopAsked(Exception):
    """The person stops here; what was recorded stays."""
