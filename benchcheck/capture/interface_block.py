"""Interface descriptions of a capture: what is on each, and how its stamps count."""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.capture import pcapng_form as form

_SECOND_NS = 1_000_000_000
_LATEST_NS, _EARLIEST_NS = 1 << 62, -(1 << 60)  # as recording.is_sane_stamp


class ImpossibleStamps(Exception):
    """The interface's stamps have a resolution that can't be."""


@dataclass(slots=True)
class Interface:
    """An interface as described; `index` is into the recording's buses or lines, set by whoever keeps those.

    A stamp counts `1 / ticks` seconds, from `offset_ns` on.
    """

    link: int
    name: str
    words: Mapping[str, str]
    speed: int | None
    ticks: int
    offset_ns: int
    index: int = 0
    dropped: int = 0  # as its statistics say
    dropped_between: int = 0  # as its packets say
    dropped_in_marks: int = 0  # ...and marks, since its last statistics
    counted_ns: int | None = None  # the stamp of its last statistics

    @property
    def in_nanoseconds(self) -> bool:
        return self.ticks == _SECOND_NS and self.offset_ns == 0

    def time_ns(self, stamp: int) -> int:
        return stamp * _SECOND_NS // self.ticks + self.offset_ns

    def times_ns(self, stamps: NDArray[np.uint64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """The same of many, and which of them are sane; the others are 0."""
        latest = (_LATEST_NS - self.offset_ns) * self.ticks // _SECOND_NS
        earliest = -((self.offset_ns - _EARLIEST_NS) * self.ticks // _SECOND_NS)
        sane = (stamps <= np.uint64(min(max(latest, 0), (1 << 64) - 1))) & (stamps >= np.uint64(max(earliest, 0)))
        if latest < 0:
            sane[:] = False
        kept = np.where(sane, stamps, np.uint64(0))
        second = np.uint64(_SECOND_NS)
        if self.ticks <= _SECOND_NS and _SECOND_NS % self.ticks == 0:
            result = kept * np.uint64(_SECOND_NS // self.ticks)
        elif self.ticks % _SECOND_NS == 0:
            result = kept // np.uint64(self.ticks // _SECOND_NS)
        elif self.ticks <= 1 << 34:  # the product below stays within 64 bits
            ticks = np.uint64(self.ticks)
            result = kept // ticks * second + kept % ticks * second // ticks
        else:
            result = np.array([int(stamp) * _SECOND_NS // self.ticks for stamp in kept], np.uint64)
        return result.astype(np.int64) + np.int64(self.offset_ns), sane


def parse_interface(body: bytes, order: str, number: int) -> Interface:
    """The interface that the block describes. Raises struct.error where it is too short, and ImpossibleStamps."""
    link = struct.unpack_from(order + "H", body)[0]
    options = dict(options_of(body[8:], order))
    speed = options.get(form.IF_SPEED, b"")
    resolution = (options.get(form.IF_TSRESOL) or b"\x06")[0]
    power = resolution & 0x7F
    if power > 63 or (not resolution & 0x80 and power > 18):
        raise ImpossibleStamps(f"an interface with impossible stamps (resolution {resolution})")
    offset = options.get(form.IF_TSOFFSET, b"")
    offset_s = struct.unpack(order + "q", offset)[0] if len(offset) == 8 else 0
    if abs(offset_s) >= 1 << 32:
        raise ImpossibleStamps(f"an interface with impossible stamps (offset of {offset_s} s)")
    return Interface(
        link=link,
        name=_text(options.get(form.IF_NAME, b"")) or f"interface {number}",
        words=dict(word.partition("=")[::2] for word in _text(options.get(form.IF_DESCRIPTION, b"")).split()),
        speed=(struct.unpack(order + "Q", speed)[0] if len(speed) == 8 else 0) or None,
        ticks=2**power if resolution & 0x80 else 10**power,
        offset_ns=offset_s * _SECOND_NS,
    )


def options_of(data: bytes, order: str) -> Iterator[tuple[int, bytes]]:
    """(code, value) of each option; stops where they make no sense."""
    place = 0
    while place + 4 <= len(data):
        code, length = struct.unpack_from(order + "HH", data, place)
        if code == form.OPT_END:
            return
        yield code, data[place + 4 : place + 4 + length]
        place += 4 + length + -length % 4


def positive(text: str) -> int | None:
    """A whole number above 0, or None."""
    return int(text) if text.isdecimal() and text.isascii() and 0 < len(text) < 12 and int(text) > 0 else None


def _text(value: bytes) -> str:
    return value.rstrip(b"\0").decode("utf-8", "backslashreplace")
