"""What each unit is expected to send, out of the profile: by the message database, and by its sources on the bus."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from benchcheck.harness.bus_source import BusSource
from benchcheck.harness.model import Bus, Harness
from benchcheck.traffic.presence.unit_presence import MatchExpectation, UnitExpectation
from benchcheck.traffic.tallies.watch import (
    EXTENDED_MASK,
    STANDARD_MASK,
    IdKey,
    Match,
    of_parameter_group,
    of_source_address,
)

_CLASSIC_BYTES = 8


@dataclass(slots=True)
class _Expected:
    """Of one unit: identifier -> period, what is told otherwise, and which identifiers may take several frames."""

    ids: dict[IdKey, float | None] = field(default_factory=dict)
    matches: list[MatchExpectation] = field(default_factory=list)
    several: set[IdKey] = field(default_factory=set)


def expectations(harness: Harness, bus: Bus) -> list[UnitExpectation]:
    """What each unit of a bus is expected to send, by the profile, in cable order.

    A source that is a whole identifier says more than the database's message of it: its period counts. Whoever has a
    source with `instead` is expected by its sources alone.
    """
    by_unit: dict[str, _Expected] = {node: _Expected() for node in bus.nodes}
    instead = {source.unit for source in bus.sources if source.instead}
    for message in bus.messages:
        if message.sender in instead:
            continue
        mine = by_unit.setdefault(message.sender, _Expected())
        key = IdKey(message.can_id, message.extended)
        mine.ids[key] = message.period_s
        if message.length > _CLASSIC_BYTES:
            mine.several.add(key)
    for source in bus.sources:
        mine = by_unit.setdefault(source.unit, _Expected())
        if source.is_one_identifier and source.can_id is not None:
            key = IdKey(source.can_id, source.extended)
            mine.ids[key] = source.period_s
            if source.multi_frame:
                mine.several.add(key)
        else:
            mine.matches.append(MatchExpectation(match_of(source), source.period_s))
    found = []
    for name, mine in by_unit.items():
        unit = harness.units.get(name)
        if unit is not None and (mine.ids or mine.matches):
            ids = tuple((key.can_id, key.extended, period_s) for key, period_s in mine.ids.items())
            found.append(
                UnitExpectation(
                    name, ids, unit.type.boot_s, tuple(mine.matches), frozenset(mine.several & set(mine.ids))
                )
            )
    return found


def match_of(source: BusSource) -> Match:
    """Which frames belong to a source of the profile."""
    if source.group is not None:
        match = of_parameter_group(source.group, source.address)
    elif source.address is not None:
        match = of_source_address(source.address)
    else:
        full = EXTENDED_MASK if source.extended else STANDARD_MASK
        match = Match(source.can_id or 0, full if source.mask is None else source.mask, source.extended)
    return match if source.byte is None else replace(match, byte=source.byte, value=source.value)


@dataclass(frozen=True)
class KnownOnBus:
    """Whose an identifier is, by all that the profile says of a bus."""

    senders: Mapping[IdKey, str]
    matches: tuple[tuple[Match, str], ...]
    ids: frozenset[IdKey]
    on_occasion: frozenset[IdKey]

    def knows(self, key: IdKey) -> bool:
        """Whether a message or a source has this identifier, or frames of it; with a sender or without."""
        return key in self.ids or any(match.takes(key) for match, _ in self.matches)

    def sender(self, key: IdKey) -> str:
        """The unit that sends it; empty where none is known, or several may."""
        if key in self.senders:
            return self.senders[key]
        units = {unit for match, unit in self.matches if match.takes(key)}
        return units.pop() if len(units) == 1 else ""


def known_on_bus(bus: Bus) -> KnownOnBus:
    """Every identifier that the profile knows on a bus, whoever sends it."""
    senders = {IdKey(message.can_id, message.extended): message.sender for message in bus.messages if message.sender}
    periods = {IdKey(message.can_id, message.extended): message.period_s for message in bus.messages}
    for source in bus.sources:
        if source.is_one_identifier and source.can_id is not None:
            key = IdKey(source.can_id, source.extended)
            senders[key], periods[key] = source.unit, source.period_s
    matches = tuple((match_of(source), source.unit) for source in bus.sources if not source.is_one_identifier)
    occasional = frozenset(key for key, period_s in periods.items() if period_s is None)
    return KnownOnBus(senders, matches, frozenset(periods), occasional)


def longest_period_s(bus: Bus) -> float:
    """The longest period of what is expected on a bus; 0 where nothing has one."""
    periods = [message.period_s for message in bus.messages] + [source.period_s for source in bus.sources]
    return max((period_s for period_s in periods if period_s is not None), default=0.0)
