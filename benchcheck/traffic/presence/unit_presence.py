"""What a unit is expected to send, and what was found of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from benchcheck.traffic.tallies.pieces import SECOND_NS
from benchcheck.traffic.tallies.watch import IdKey, Match
from benchcheck.words.verdict import Outcome


class PresenceState(StrEnum):
    PRESENT = "present"
    MISSING = "missing"
    LATE = "late"
    LOST = "lost"
    INTERMITTENT = "intermittent"
    UNEXPECTED = "unexpected"
    UNKNOWN = ""


@dataclass(frozen=True, slots=True)
class MatchExpectation:
    """Frames of a unit that are told by a mask, a source address or a data byte (see watch); their period in seconds,
    or None where they come on occasion, in bursts or several frames at a time."""

    match: Match
    period_s: float | None = None


@dataclass(frozen=True, slots=True)
class UnitExpectation:
    """What one unit is expected to send on one bus.

    ids          (identifier, extended, period in seconds or None)
    boot_s       how long it takes at most from power on to its first frame
    matches      what it sends that is told by more than one whole identifier
    multi_frame  those of `ids` whose messages may take several frames: many frames a period are no second sender
    """

    unit: str
    ids: tuple[tuple[int, bool, float | None], ...]
    boot_s: float
    matches: tuple[MatchExpectation, ...] = ()
    multi_frame: frozenset[IdKey] = frozenset()


class Pause(NamedTuple):
    """A gap that is charged to a unit: of which of its sources, the stamp of the frame before it, and its length."""

    source: str
    start_ns: int
    length_ns: int


@dataclass(frozen=True, slots=True)
class UnitPresence:
    """Verdict, state and evidence. Stamps are the recorder's, in nanoseconds of the tally's clock (not from its start).

    first_ns, last_ns  first and last frame of the unit
    max_gap_ns         longest time between two frames of the unit, silences of the whole bus included
    text               a sentence for a person
    boot_ns            from power-on to the first frame; None where power-on is not known, or the unit had power before,
                       or the clock stepped between
    pauses             gaps that are charged to the unit, by time; a loss goes on to the end
    owner              of an identifier that has, or may have, a second sender: the unit whose it is
    """

    unit: str
    verdict: Outcome
    state: PresenceState
    first_ns: int | None
    last_ns: int | None
    max_gap_ns: int | None
    text: str
    boot_ns: int | None = None
    pauses: tuple[Pause, ...] = ()
    owner: str = ""

    @property
    def first_s(self) -> float | None:
        return None if self.first_ns is None else self.first_ns / SECOND_NS

    @property
    def last_s(self) -> float | None:
        return None if self.last_ns is None else self.last_ns / SECOND_NS

    @property
    def max_gap_s(self) -> float | None:
        return None if self.max_gap_ns is None else self.max_gap_ns / SECOND_NS
