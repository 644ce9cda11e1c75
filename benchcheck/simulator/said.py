"""What the units of a bus send, by the profile: the messages of the database, and one for each source that it doesn't hold."""

from __future__ import annotations

from dataclasses import replace

from benchcheck.harness.bus_source import BusSource
from benchcheck.harness.model import Bus, Message
from benchcheck.simulator.payloads import Course
from benchcheck.words.signal import Field, Signal

_PRIORITY = 6  # of frames of 29-bit schemes that a source tells by group or address
_GROUP = 0x0FF00  # proprietary, for everybody (SAE J1939-21; from memory), where only the address is known
_ADDRESS = 0xFE  # nobody's, where only the group is known
_LENGTH = 8


def said_on(bus: Bus) -> tuple[Message, ...]:
    """Who has a source with `instead` sends by its sources alone."""
    instead = {source.unit for source in bus.sources if source.instead}
    said = {(m.can_id, m.extended): m for m in bus.messages if not m.sender or m.sender not in instead}
    for number, source in enumerate(bus.sources):
        can_id = _can_id(source)
        key = (can_id, source.extended)
        known = said.get(key) if source.is_one_identifier else None
        if known is not None:
            said[key] = replace(known, sender=source.unit, period_s=source.period_s or known.period_s)
        elif key not in said:
            said[key] = Message(can_id, source.extended, _name(number), source.unit, source.period_s, _LENGTH)
    return tuple(said.values())


def source_courses(bus: Bus) -> dict[str, tuple[Course, ...]]:
    """Message name -> the data byte by which a source is told."""
    return {
        _name(number): (Course(Signal("", Field(8 * source.byte, 8)), float(source.value), 0.0),)
        for number, source in enumerate(bus.sources)
        if source.byte is not None
    }


def _name(number: int) -> str:
    return f"source {number}"


def _can_id(source: BusSource) -> int:
    if source.can_id is not None:
        return source.can_id
    group = _GROUP if source.group is None else source.group
    return _PRIORITY << 26 | group << 8 | (_ADDRESS if source.address is None else source.address)
