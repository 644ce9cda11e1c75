"""What the units send on a CAN bus, and which of it the adapter there hears."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from zlib import crc32

from benchcheck.harness.model import Bus, Harness, Message, SignalRange
from benchcheck.simulator.faults import AbsurdSignal, Fault, SignalFault, UnexpectedMessage
from benchcheck.simulator.payloads import Course, course_of, payload
from benchcheck.simulator.said import said_on, source_courses
from benchcheck.simulator.timing import EVENT_PERIOD_S, Habit, frame_bits, habits

STAGGER_S = 0.003  # between the first frames of one unit's messages
JITTER = (0.01, 0.03)  # of the period, from message to message
UNEXPECTED_LENGTH = 8


@dataclass(frozen=True, slots=True)
class SentFrame:
    """A frame on the wire; `at_s` is when it begins, on the caller's clock."""

    at_s: float
    can_id: int
    extended: bool
    data: bytes


@dataclass(frozen=True, slots=True)
class _Stream:
    """One message of one sender. Its k-th frame is due at the sender's start + offset + k periods, ± jitter."""

    message: Message
    offset_s: float
    period_s: float
    jitter: float
    number: int

    def due(self, begin_s: float, first_s: float, last_s: float) -> Iterator[tuple[float, int]]:
        """The frames due after `first_s` and up to `last_s` by a sender that began at `begin_s`."""
        base = begin_s + self.offset_s
        k = max(0, math.floor((first_s - base) / self.period_s) - 1)
        while True:
            wobble = self.jitter * (crc32(f"{self.number}/{k}".encode()) / 0xFFFFFFFF - 0.5)
            at_s = base + (k + (wobble if k else 0.0)) * self.period_s
            if at_s > last_s + self.period_s:
                return
            if first_s < at_s <= last_s:
                yield at_s, k
            k += 1


class BusTraffic:
    """The frames of one bus. The same times, units and seed give the same frames, however the time is cut."""

    def __init__(self, harness: Harness, bus: Bus, faults: Iterable[Fault] = (), seed: int = 1) -> None:
        self.bus = bus
        faults = tuple(faults)
        self._habits: dict[str, Habit] = habits(harness, faults)
        self._streams: dict[str, list[_Stream]] = {}
        for message in said_on(bus):
            mine = self._streams.setdefault(message.sender, [])
            mine.append(_stream(message, len(mine), seed))
        unexpected = [fault for fault in faults if isinstance(fault, UnexpectedMessage) and fault.bus == bus.name]
        self._unexpected = [
            _stream(
                Message(fault.can_id, fault.can_id > 0x7FF, "", "", fault.period_s, UNEXPECTED_LENGTH), number, seed
            )
            for number, fault in enumerate(unexpected)
        ]
        self._courses = source_courses(bus) | _courses(harness, bus, faults)
        self._free_s = -math.inf

    def frames(
        self,
        first_s: float,
        last_s: float,
        joined: frozenset[str],
        since: Mapping[str, float],
        *,
        acknowledges: bool,
    ) -> list[SentFrame]:
        """The frames that a listening adapter receives after `first_s` and up to `last_s`.

        joined        units that share both wires with the adapter
        since         unit -> when it got power
        acknowledges  whether the adapter itself acknowledges; else another unit that is up must
        """
        powered = sorted(unit for unit in joined if unit in since)
        due: list[tuple[float, Message, int]] = []
        for unit in powered:
            habit = self._habits[unit]
            if habit.silent:
                continue
            begin_s = since[unit] + habit.boot_s + habit.delay_s
            for stream in self._streams.get(unit, ()):
                due += [
                    (at_s, stream.message, k)
                    for at_s, k in stream.due(begin_s, first_s, last_s)
                    if habit.talks(at_s - since[unit]) and self._heard(at_s, unit, powered, since, acknowledges)
                ]
        if self._unexpected and powered:
            begin_s = min(since[unit] + self._habits[unit].boot_s for unit in powered)
            for stream in self._unexpected:
                due += [
                    (at_s, stream.message, k)
                    for at_s, k in stream.due(begin_s, first_s, last_s)
                    if self._heard(at_s, powered[0], powered, since, acknowledges)
                ]
        return [self._send(at_s, message, k) for at_s, message, k in sorted(due, key=lambda d: (d[0], d[1].can_id))]

    def _heard(
        self, at_s: float, unit: str, powered: list[str], since: Mapping[str, float], acknowledges: bool
    ) -> bool:
        if acknowledges:
            return True
        return any(other != unit and self._habits[other].listens(at_s - since[other]) for other in powered)

    def _send(self, due_s: float, message: Message, k: int) -> SentFrame:
        at_s = max(due_s, self._free_s)
        self._free_s = at_s + frame_bits(message) / self.bus.bitrate
        return SentFrame(
            at_s, message.can_id, message.extended, payload(message, k, self._courses.get(message.name, ()))
        )


def _stream(message: Message, position: int, seed: int) -> _Stream:
    number = crc32(f"{seed}/{message.can_id:x}/{message.sender}".encode())
    jitter = JITTER[0] + (JITTER[1] - JITTER[0]) * (number / 0xFFFFFFFF)
    return _Stream(message, STAGGER_S * position, message.period_s or EVENT_PERIOD_S, jitter, number)


def _courses(harness: Harness, bus: Bus, faults: Iterable[Fault]) -> dict[str, tuple[Course, ...]]:
    """Message name -> what goes on in it: signals that the profile has limits for, and those with a fault."""
    found: dict[tuple[str, str], Course] = {
        (entry.message.name, entry.signal.name): course_of(entry) for entry in harness.signals if entry.bus == bus.name
    }
    for fault in faults:
        known = fault.found(harness) if isinstance(fault, SignalFault) and fault.bus == bus.name else None
        if known is None or not isinstance(fault, SignalFault):
            continue
        key = (fault.message, fault.signal)
        course = found.get(key) or course_of(SignalRange(bus.name, *known))
        stuck_at = fault.value if isinstance(fault, AbsurdSignal) else course.value(0)
        found[key] = Course(course.signal, stuck_at, 0.0)
    return {name: tuple(c for (own, _), c in found.items() if own == name) for name, _ in found}
