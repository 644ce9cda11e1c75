"""What a session was read with: the instruments it began with, set right by what its readings themselves say.

A session is recorded before its ports are opened. What a reading carries (who measured it, whether the CAN adapter
was silent) was known when it was taken, and goes before what the session could only announce.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from benchcheck.report import pick
from benchcheck.words.event import Event

if TYPE_CHECKING:
    from benchcheck.report.facts import Session

_NOT_OPENED = ", not opened"
_TYPED = "typed"  # how the identity of a reading that a person typed begins


def as_used(session: Session, readings: Sequence[Event]) -> Session:
    """The session with what its readings say of instruments and of listening."""
    used = list(dict.fromkeys(name for event in readings if (name := _instrument(event))))
    instruments = [(name, _opened(words, used)) for name, words in session.instruments]
    said = " \n".join(words for _, words in instruments)
    instruments += [("read with", name) for name in used if name not in said and not name.startswith(_TYPED)]
    passive = dict(session.passive)
    for event in readings:
        words = pick.text(pick.table(pick.table(event.body, "reading"), "detail"), "passive")
        subject = pick.texts(event.body, "subject")
        if words and subject:
            passive[subject[-1]] = words
    return replace(session, instruments=tuple(instruments), passive=tuple(passive.items()))


def _instrument(event: Event) -> str:
    return pick.text(pick.table(event.body, "reading"), "instrument")


def _opened(words: str, used: Sequence[str]) -> str:
    """Who answered at a port that was not open yet when the session began; the words as they are where nobody did."""
    if not words.endswith(_NOT_OPENED):
        return words
    port = words.removesuffix(_NOT_OPENED).rpartition(" on ")[2]
    there = re.compile(rf"(?<!\w){re.escape(port)}(?!\w)")
    return "; ".join(name for name in used if there.search(name)) or words
