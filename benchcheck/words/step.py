"""A step: one thing to measure, in one bench state, and what the reading must be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from benchcheck.words.bench_state import BenchState
from benchcheck.words.verdict import Band


class Stage(StrEnum):
    DEAD = "dead"
    POWER = "power"
    LIVE = "live"
    CLOSING = "closing"


class Quantity(StrEnum):
    """What the bench is asked for."""

    OHMS = "ohms"  # between two contacts
    VOLTS = "volts"  # red lead against black lead, DC
    AMPS = "amps"  # what the supply delivers
    CAN = "can"  # what was heard on a bus
    LINE = "line"  # what was heard on a serial line
    LOOP = "loop"  # what comes back of bytes that the bench sends: only with leave
    LOOK = "look"  # the technician looks and answers yes or no
    EARLIER = "earlier"  # what was read for another step, named as the source of the request; of no step itself


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to measure, in one bench state.

    id        stable for the same profile: `continuity:W101`; a rework makes it stale by this name
    check     the check kind that made it and will judge it
    quantity  what the bench is asked for
    red/black the two contacts the leads touch (ohms and volts); for `line`, the tapped contact
              and the ground contact
    subject   what the step is about: contacts, runs, unit, bus, link; used to say where a squawk is
    question  in plain words
    band      the limit; None where the check judges otherwise (presence, a line's sentences)
    load_a    the load the technician draws at the contact while reading volts (0: none)
    settings  what the check needs to know again when it judges
    basis     the limit at the profile's own ambient temperature, where the band is that of another day's; by it a
              recorded reading is known to be of the same step
    unresolved  in words why the meter can't tell whether a reading is in the band; empty where it can
    """

    id: str
    check: str
    stage: Stage
    quantity: Quantity
    state: BenchState
    question: str
    subject: tuple[str, ...]
    red: str = ""
    black: str = ""
    band: Band | None = None
    load_a: float = 0.0
    note: str = ""
    settings: Mapping[str, object] = field(default_factory=dict)
    basis: Band | None = None
    unresolved: str = ""
