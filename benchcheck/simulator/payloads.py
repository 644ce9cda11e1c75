"""What is in the simulated frames: a counter, values that change, and, where the profile has limits for a signal, values
that lie within them."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from zlib import crc32

from benchcheck.harness.model import Message, SignalRange
from benchcheck.words.signal import Field, Signal

_FRAMES_UP_AND_DOWN = 64  # in which a value goes up, down and back
_SHARE = 0.2  # of the width of its limits, by which it goes up and down
_FLOATS = {16: "<e", 32: "<f", 64: "<d"}


@dataclass(frozen=True, slots=True)
class Course:
    """A signal whose value goes to and fro about `middle` by `swing`, both in its unit; for ever at one with a swing of 0."""

    signal: Signal
    middle: float
    swing: float

    def value(self, k: int) -> float:
        """In the k-th frame."""
        place = k % _FRAMES_UP_AND_DOWN / _FRAMES_UP_AND_DOWN
        return self.middle + self.swing * (1 - abs(4 * place - 2)) if self.swing else self.middle


def course_of(expected: SignalRange) -> Course:
    """A course well within the limits; where there is only one of them, or none, near what there is."""
    low, high = expected.low, expected.high
    if low is None:
        low = 0.0 if high is None else min(0.0, high - 1.0)
    if high is None:
        high = low + 100 * abs(expected.signal.factor)
    return Course(expected.signal, (low + high) / 2, _SHARE * (high - low))


def payload(message: Message, k: int, courses: Sequence[Course]) -> bytes:
    """The data of the k-th frame of a message; 8 bytes at most, as a classic frame has."""
    slow = crc32(f"{message.can_id:x}/{k // 16}".encode()).to_bytes(4, "little")
    data = bytearray([k & 0xFF, k >> 8 & 0xFF, *slow, k // 4 & 0xFF, message.can_id & 0xFF][: message.length])
    for course in courses:
        put(data, course.signal, course.value(k))
    return bytes(data)


def put(data: bytearray, signal: Signal, value: float) -> None:
    """Write a value, in the signal's unit, over what the data have in its bits; as near to it as they can hold. Nothing
    where the data are too short for it, or it is there only under a multiplexer."""
    field = signal.field
    if field.bytes_needed > len(data) or signal.when:
        return
    order = "little" if field.little_endian else "big"
    word = int.from_bytes(data, order)  # type: ignore[arg-type]
    shift = field.start_bit
    if not field.little_endian:
        from_top = 8 * field.first_byte + 7 - field.start_bit % 8
        shift = 8 * len(data) - from_top - field.length_bits
    mask = (1 << field.length_bits) - 1
    word = word & ~(mask << shift) | (_pattern(field, (value - signal.offset) / signal.factor) & mask) << shift
    data[:] = word.to_bytes(len(data), order)  # type: ignore[arg-type]


def _pattern(field: Field, raw: float) -> int:
    if field.is_float:
        return int.from_bytes(struct.pack(_FLOATS[field.length_bits], raw), "little")
    low, high = 0, (1 << field.length_bits) - 1
    if field.signed:
        low, high = -(1 << field.length_bits - 1), (1 << field.length_bits - 1) - 1
    return min(max(round(raw), low), high)
