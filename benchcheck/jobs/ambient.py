"""The temperature of the wire, asked for once a day: limits that are computed from wire go with it."""

from __future__ import annotations

import re
from collections.abc import Iterable

from benchcheck.jobs.asked import QUIT, SKIP, Person, Question, QuestionKind, StopAsked
from benchcheck.plan.ambient import HIGHEST_C, LOWEST_C
from benchcheck.words.errors import InputError
from benchcheck.words.event import Event, EventKind

_TYPED = re.compile(r"(?P<number>[+-]?[0-9]{1,3}(?:[.,][0-9]{1,3})?)\s*(?:°?\s*[cC])?\Z")


def parse_ambient(typed: str) -> float:
    """Degrees Celsius as typed: `23`, `23.5 C`, `-4,5`. InputError with a hint for anything else."""
    match = _TYPED.match(typed.strip().replace("\u2212", "-"))
    hint = f"Degrees Celsius from {LOWEST_C:g} to {HIGHEST_C:g}: 23.5."
    if match is None:
        raise InputError(f"{typed.strip()[:40]!a} is no temperature", hint=hint)
    value = float(match["number"].replace(",", "."))
    if not LOWEST_C <= value <= HIGHEST_C:
        raise InputError(f"{value:g} C is out of range", hint=hint)
    return value


def ask_ambient(person: Person, profile_c: float) -> float | None:
    """What the person says; None where the profile's temperature is to stand. Raises StopAsked."""
    todo = (
        "how warm is it where the harness lies, in degrees Celsius?",
        f"limits of wire go with it; Enter alone: {profile_c:g}, as the profile says",
    )
    why = ""
    while True:
        typed = person.ask(Question(QuestionKind.AMBIENT, todo, unit="C", why=why)).strip()
        word = typed.partition(" ")[0].lower()
        if word == QUIT:
            raise StopAsked
        if not typed or word == SKIP:
            return None
        try:
            return parse_ambient(typed)
        except InputError as wrong:
            why = f"{wrong.text}. {wrong.hint}"


def said_on(events: Iterable[Event], day: str) -> tuple[float, str] | None:
    """The temperature that was last said on a day (`2026-03-01`, UTC), and by whom; None where nobody said one."""
    found: tuple[float, str] | None = None
    for event in events:
        if event.kind == EventKind.SESSION_STARTED and event.at_utc.startswith(day):
            said, by = event.body.get("ambient_c"), event.body.get("ambient_said_by")
            if isinstance(said, (int, float)) and isinstance(by, str) and by:
                found = (float(said), by)
    return found
