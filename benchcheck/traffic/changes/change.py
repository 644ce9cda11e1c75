"""One change between two recordings, and how such are ordered."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Grade(StrEnum):
    """How much a change matters, the gravest first."""

    GRAVE = "grave"
    UNSURE = "unsure"
    LESSER = "lesser"
    BETTER = "better"


class Kind(StrEnum):
    """What changed; of one grade, the ones listed first come first."""

    BUS = "bus"
    UNIT = "unit"
    GONE = "identifier gone"
    TALK = "talk"
    LINE = "line"
    SIGNAL = "signal"
    ERRORS = "error frames"
    NEW = "identifier new"
    LOAD = "load"
    GAPS = "gaps"
    PERIOD = "period"
    STILL = "data stand still"
    LENGTH = "length"
    VALUES = "values"
    TYPE = "type"
    RATE = "rate"
    JITTER = "jitter"


_GRADES = list(Grade)
_KINDS = list(Kind)


@dataclass(frozen=True, slots=True)
class Change:
    """what: unit, identifier, type or bus; where: bus, line or link; text: a sentence.

    size         how large it is among its kind, for the order
    was, is_now  the figures, as plain values
    """

    kind: Kind
    grade: Grade
    what: str
    where: str
    text: str
    size: float = 0.0
    was: object = None
    is_now: object = None

    def order(self) -> tuple[int, int, float, str, str]:
        return (_GRADES.index(self.grade), _KINDS.index(self.kind), -self.size, self.where, self.what)
