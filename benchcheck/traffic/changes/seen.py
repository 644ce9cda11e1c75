"""What one recording held, as far as two of them are compared: made from its tallies, its survey and its traits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean, stdev
from typing import NamedTuple

from benchcheck.traffic.changes.signal_changes import SignalSeen
from benchcheck.traffic.changes.traits import BusTraits
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.verdict import Outcome


class LoadSpread(NamedTuple):
    """How many whole seconds, mean and standard deviation of their load in percent."""

    seconds: int
    mean: float
    deviation: float


def spread_of(loads: Sequence[float]) -> LoadSpread:
    """The spread of the loads of whole seconds; of none or one, no deviation."""
    if not loads:
        return LoadSpread(0, 0.0, 0.0)
    return LoadSpread(len(loads), fmean(loads), stdev(loads) if len(loads) > 1 else 0.0)


@dataclass(frozen=True)
class BusSeen:
    """One bus.

    recorded_s    how long was recorded of it, silences of the whole bus taken out
    load          percent of the whole seconds; none of them where the clock stepped or there is no bit rate
    slow          whether pauses of 0.3 s are usual there, so that they are no silences
    silences      of the whole bus, gaps of the recorder left out
    sender_of     identifier -> unit that sends it, by the profile
    on_occasion   identifiers that have no period, by the profile
    signals       identifier -> its signals that were seen, by the profile's message database
    """

    frames: int
    error_frames: int
    recorded_s: float
    load: LoadSpread
    traits: BusTraits
    slow: bool = False
    silences: int = 0
    max_load_percent: float | None = None
    sender_of: Mapping[IdKey, str] = field(default_factory=dict)
    on_occasion: frozenset[IdKey] = frozenset()
    signals: Mapping[IdKey, tuple[SignalSeen, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LineSeen:
    """One line: bytes, sentences or lines that are what the protocol says and others, and the sound ones by type."""

    bytes: int
    understood: int
    others: int
    types: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Judged:
    """What the profile's judgement says of a unit on a bus, or of a talk: `state` as `missing`, a sentence."""

    verdict: Outcome
    state: str
    text: str


@dataclass(frozen=True)
class Seen:
    """One recording.

    recorded_s     how long was recorded; 0 where nothing says so (a file of raw bytes)
    frames_missing whether the recorder dropped frames, did not record for a time, or records could not be read
    buses, lines   by name, also the ones that were listened to and never said anything
    units          (bus, unit) -> judgement; empty without a profile; talks: "link:sender" -> judgement
    signals        (bus, message and signal) -> judgement, of those that the profile has limits for
    """

    recorded_s: float
    frames_missing: bool
    buses: Mapping[str, BusSeen]
    lines: Mapping[str, LineSeen]
    units: Mapping[tuple[str, str], Judged] = field(default_factory=dict)
    talks: Mapping[str, Judged] = field(default_factory=dict)
    signals: Mapping[tuple[str, str], Judged] = field(default_factory=dict)
