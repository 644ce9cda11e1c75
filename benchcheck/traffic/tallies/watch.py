"""What a tally is to keep of a bus beyond the plain counts, so that units can be judged from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from benchcheck.words.signal import Signal

STANDARD_MASK = 0x7FF
EXTENDED_MASK = 0x1FFF_FFFF
_SOURCE_MASK = 0xFF
_PGN_MASK = 0x03FF_FF00
_FIRST_BROADCAST = 0xF0


class IdKey(NamedTuple):
    """Base and extended identifiers are different even where the number is the same."""

    can_id: int
    extended: bool

    @property
    def text(self) -> str:
        """Upper-case hex, 3 digits for a base identifier and 8 for an extended one."""
        return f"{self.can_id:08X}" if self.extended else f"{self.can_id:03X}"


@dataclass(frozen=True, slots=True)
class Match:
    """Which frames belong to a source: those whose identifier has `can_id` in the bits of `mask`, and, where `byte` is
    given, whose data byte of that number (from 0) is `value`; a frame too short to have that byte is none of them."""

    can_id: int
    mask: int
    extended: bool
    byte: int | None = None
    value: int = 0

    @property
    def text(self) -> str:
        full = EXTENDED_MASK if self.extended else STANDARD_MASK
        name = IdKey(self.can_id, self.extended).text
        if self.mask != full:
            name += f"/{IdKey(self.mask, self.extended).text}"
        return name if self.byte is None else f"{name} with byte {self.byte} = {self.value:02X}"

    def takes(self, key: IdKey) -> bool:
        """Whether frames of this identifier may belong to it."""
        return key.extended == self.extended and key.can_id & self.mask == self.can_id & self.mask


def of_source_address(address: int) -> Match:
    """All frames of a unit by its source address: the lowest byte of a 29-bit identifier (SAE J1939-21, NMEA 2000)."""
    return Match(address, _SOURCE_MASK, True)


def of_parameter_group(number: int, address: int | None = None) -> Match:
    """The frames of a parameter group, of all senders or of one (SAE J1939-21): 18 bits from bit 8 on, of which the low
    8 are a destination address, and no part of the number, where the byte above them is below 0xF0."""
    mask = _PGN_MASK
    if (number >> 8) & 0xFF < _FIRST_BROADCAST:
        mask &= ~0xFF00
    if address is None:
        return Match(number << 8, mask, True)
    return Match(number << 8 | address, mask | _SOURCE_MASK, True)


@dataclass(frozen=True, slots=True)
class MatchWatch:
    """A source that is told by more than its identifier: how long a gap to note (None: none), and whose it is."""

    match: Match
    unit: str
    gap_ns: int | None = None


@dataclass(frozen=True, slots=True)
class SignalWatch:
    """A signal of the message with this identifier. In an interval between frames longer than `gap_ns` it isn't taken for
    unchanged: nobody saw it."""

    key: IdKey
    signal: Signal
    gap_ns: int


@dataclass(frozen=True, slots=True)
class Watch:
    """gap_ns  gaps of an identifier longer than so many ns are noted
    group      identifiers gathered by unit
    matches    sources by mask or data byte, each with a tally of its own; their frames count for the unit's group too
    signals    signals whose values are to be tallied; a signal of an identifier once
    """

    gap_ns: Mapping[IdKey, int] = field(default_factory=dict)
    group: Mapping[IdKey, str] = field(default_factory=dict)
    matches: tuple[MatchWatch, ...] = ()
    signals: tuple[SignalWatch, ...] = ()
