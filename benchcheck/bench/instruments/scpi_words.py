"""What an instrument's answer means: pure functions, fed text, that never raise on garbage.

Numbers as SCPI gives them: overload is 9.9E37, not-a-number is 9.91E37, in any spelling, so they are
compared with a margin (published instrument programming guides).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import Enum, auto

OVERLOAD = 9.9e37
NOT_A_NUMBER = 9.91e37
_MARGIN = 1e-4  # the two stand 1e-3 apart; six printed figures or a 32-bit float move a value by far less
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?\Z")
_ERROR = re.compile(r"([+-]?[0-9]{1,6})\s*(?:,\s*(.*))?\Z", re.DOTALL)
_LONGEST = 64


class Meaning(Enum):
    NUMBER = auto()
    OVERLOAD = auto()
    NOT_A_NUMBER = auto()
    GARBAGE = auto()


@dataclass(frozen=True, slots=True)
class Answer:
    """value is NaN unless meaning is NUMBER; for OVERLOAD `negative` says which end."""

    meaning: Meaning
    value: float = math.nan
    negative: bool = False


def parse_number(text: str) -> Answer:
    """One number of an answer. A list, a unit behind it or anything else is garbage."""
    text = text.strip()
    if len(text) > _LONGEST:
        return Answer(Meaning.GARBAGE)
    bare = text.lstrip("+-").upper()
    if bare == "NAN":
        return Answer(Meaning.NOT_A_NUMBER)
    if bare in ("INF", "INFINITY") and len(text) - len(bare) <= 1:
        return Answer(Meaning.OVERLOAD, negative=text.startswith("-"))
    if not _NUMBER.match(text):
        return Answer(Meaning.GARBAGE)
    value = float(text)
    if math.isclose(abs(value), NOT_A_NUMBER, rel_tol=_MARGIN):
        return Answer(Meaning.NOT_A_NUMBER)
    if abs(value) >= OVERLOAD * (1 - _MARGIN):
        return Answer(Meaning.OVERLOAD, negative=value < 0)
    return Answer(Meaning.NUMBER, value)


@dataclass(frozen=True, slots=True)
class QueueEntry:
    """One entry of the instrument's error queue; code None when the answer was none."""

    code: int | None
    text: str

    @property
    def clean(self) -> bool:
        return self.code == 0


def parse_error(text: str) -> QueueEntry:
    """An answer to SYST:ERR?, `-113,"Undefined header"`. Code 0 is an empty queue."""
    match = _ERROR.match(text.strip()[:300])
    if match is None:
        return QueueEntry(None, text.strip()[:100])
    return QueueEntry(int(match[1]), (match[2] or "").strip().strip('"'))


def parse_switch(text: str) -> bool | None:
    """An answer to OUTP?: on, off, or None for anything else."""
    return {"1": True, "+1": True, "ON": True, "0": False, "+0": False, "OFF": False}.get(text.strip().upper())
