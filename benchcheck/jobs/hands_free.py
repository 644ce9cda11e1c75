"""Hands-free reading: a person holds the probes, and a reading that has settled in contact is taken by itself.

`words/settling.py` says when; here the meter and the person are asked in turn. Enter is the deliberate press.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from benchcheck.jobs.asked import Person, Question
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading
from benchcheck.words.settling import Hold, SettleRule, Settling, Wanted, count_of, looks_lifted

PAUSE_S = 0.05  # between two readings: for so long what the person types is waited for
BY_ITSELF_WORDS = "It is taken by itself once it is steady; Enter takes it now."
PRESS_WORDS = (
    "Hold both probes on, then press Enter, and hold them until it is taken: "
    "what passes here is also what lifted probes read, so nothing is taken by itself."
)
STILL_ON = "Lift the probes first: the next reading is taken where they touch next."


class AttendingPerson(Person, Protocol):
    """A person whose keys can be looked at while something else goes on."""

    def show(self, question: Question) -> None:
        """Put the question; nothing is waited for."""

    def typed(self, wait_s: float) -> str | None:
        """A line that was typed within `wait_s` seconds; None where none was. StopAsked where nobody answers any more."""

    def ring(self) -> None:
        """A sound, where there is one to be had."""


def attending(person: Person) -> AttendingPerson | None:
    """The person, where its keys can be looked at while the meter reads."""
    if getattr(person, "attends", False) and all(hasattr(person, name) for name in ("show", "typed", "ring")):
        return person  # type: ignore[return-value]
    return None


class HandsFree:
    """Takes readings of a meter that can be asked, from a person who holds its probes.

    now_ns    the monotonic clock
    lifted_v  volts within which a reading looks like lifted probes
    """

    def __init__(
        self,
        person: AttendingPerson,
        spec: MeterSpec,
        now_ns: Callable[[], int],
        lifted_v: float,
        rule: SettleRule | None = None,
    ) -> None:
        self._person = person
        self._spec = spec
        self._now_ns = now_ns
        self._lifted_v = lifted_v
        self._rule = rule or SettleRule()

    def take(
        self,
        question: Question,
        read: Callable[[], Reading],
        answered: Callable[[Question, str], str],
        *,
        lifted_passes: bool,
        armed: bool,
    ) -> Reading:
        """The reading at the question's contacts, its detail saying how it was taken.

        answered  what is wrong with an answer, in words; raises what a person may say instead of one
        armed     the probes need not be lifted first
        Raises LinkLost as `read` does.
        """
        unit = question.unit
        wanted = Wanted(unit, self._lifted_v, lifted_passes, count_of(self._spec, unit))
        settling = Settling(wanted, self._rule, armed=armed)
        how = PRESS_WORDS if lifted_passes else BY_ITSELF_WORDS
        self._person.show(replace(question, todo=(*question.todo, how)))
        told = ""
        while settling.taken is None:
            typed = self._person.typed(PAUSE_S)
            if typed is not None:
                wrong = answered(question, typed.strip())
                if wrong:
                    self._person.show(replace(question, why=wrong))
                else:
                    settling.press()
            shown = read()
            hold = settling.feed(self._now_ns() / 1e9, shown)
            still_on = hold is Hold.HELD and not looks_lifted(shown, self._lifted_v)
            words = STILL_ON if still_on else settling.words
            kind = f"{hold}{words[:10]}" if hold in (Hold.HELD, Hold.CHARGING, Hold.ARMING) and words else ""
            if kind and kind != told:
                self._person.tell(words)
                told = kind
        reading = settling.taken
        said = str(reading.detail["why"]) if "why" in reading.detail else reading.text
        if question.red:
            self.done(f"{said}, taken {reading.detail['taken']}")
        else:  # the leads held together, which are read several times
            self._person.tell(f"{said}, and some more: hold them")
        return reading

    def done(self, text: str) -> None:
        """The probes may go on: in words, and by a sound."""
        self._person.ring()
        self._person.tell(text)
