"""The frames of a recording one by one, by recorded time: a part of it, of some buses, of some identifiers; and as text.

A row as text, as a sentence: `0.415582282 s, can1, 170 says 00 00 62`: seconds since the first record, bus, identifier in
hex (3 digits base, 8 extended), data bytes in hex, or in words what has none; `FD` behind the identifier of an FD frame.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from benchcheck.capture.recording import Recording, Traffic
from benchcheck.jobs.listening.heard import SECOND_NS
from benchcheck.jobs.playing.replay import Part
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.frames import FrameBatch, FrameFlag

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_SLICE = 256  # frames that become Python objects in one go: more would make those that are due wait for it


class FrameRow(NamedTuple):
    """One frame; `at_ns` since the first record of the recording."""

    at_ns: int
    bus: str
    can_id: int
    flags: int
    length: int
    data: bytes

    @property
    def extended(self) -> bool:
        return bool(self.flags & FrameFlag.EXTENDED)

    @property
    def is_plain(self) -> bool:
        """Whether it is a classic data frame."""
        return not self.flags & (FrameFlag.ERROR | FrameFlag.REMOTE | FrameFlag.FD)


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which frames: of which part, buses and identifiers; an empty set or None of them means all."""

    part: Part = field(default_factory=Part)
    buses: frozenset[str] = frozenset()
    ids: frozenset[IdKey] | None = None

    def takes_bus(self, name: str) -> bool:
        return not self.buses or name in self.buses


def frame_rows(recording: Recording, wanted: Wanted) -> Iterator[FrameRow]:
    """The frames that are wanted, in the file's order."""
    first_ns: int | None = None
    for item in recording:
        if first_ns is None:
            first_ns = _first_ns(item)
            if first_ns is None:
                continue
        if isinstance(item, FrameBatch):
            yield from _of_batch(item, [shown(bus.name) for bus in recording.buses], first_ns, wanted)


def _first_ns(item: Traffic) -> int | None:
    if isinstance(item, FrameBatch):
        return int(item.time_ns[0]) if len(item) else None
    return item.time_ns


def _of_batch(batch: FrameBatch, names: list[str], first_ns: int, wanted: Wanted) -> Iterator[FrameRow]:
    import numpy as np

    places = np.flatnonzero(wanted_of(batch, names, first_ns, wanted))
    for start in range(0, len(places), _SLICE):
        yield from rows_of(batch, places[start : start + _SLICE], names, first_ns)


def wanted_of(batch: FrameBatch, names: Sequence[str], first_ns: int, wanted: Wanted) -> NDArray[np.bool_]:
    """Which frames of a batch are wanted."""
    import numpy as np

    keep = np.array([wanted.takes_bus(name) for name in names], np.bool_)[batch.bus]
    if wanted.part.from_s is not None:
        keep &= batch.time_ns >= first_ns + round(wanted.part.from_s * SECOND_NS)
    if wanted.part.to_s is not None:
        keep &= batch.time_ns < first_ns + round(wanted.part.to_s * SECOND_NS)
    if wanted.ids is not None:
        extended = (batch.flags & FrameFlag.EXTENDED) > 0
        error = (batch.flags & FrameFlag.ERROR) > 0
        chosen = [[key.can_id for key in wanted.ids if key.extended is kind] for kind in (False, True)]
        keep &= ~error & np.where(extended, np.isin(batch.can_id, chosen[True]), np.isin(batch.can_id, chosen[False]))
    return keep


def rows_of(
    batch: FrameBatch, places: slice | NDArray[np.int64], names: Sequence[str], first_ns: int
) -> Iterator[FrameRow]:
    """The frames at these places of a batch one by one."""
    columns = (batch.time_ns[places] - first_ns, batch.bus[places], batch.can_id[places], batch.flags[places])
    data = batch.data[places]
    for number, (at_ns, bus, can_id, flags, length) in enumerate(
        zip(*(column.tolist() for column in columns), batch.length[places].tolist(), strict=True)
    ):
        has_data = not flags & (FrameFlag.REMOTE | FrameFlag.ERROR)
        payload = data[number, :length].tobytes() if has_data else b""
        yield FrameRow(at_ns, names[bus], can_id, flags, length, payload)


def shown(name: str) -> str:
    """A bus's name without what could steer a terminal."""
    return "".join(char if char.isprintable() else "?" for char in name)


def row_text(row: FrameRow) -> str:
    """A frame as a line of text, without its end."""
    head = f"{row.at_ns // SECOND_NS:6d}.{row.at_ns % SECOND_NS:09d} s, {row.bus}, "
    if row.flags & FrameFlag.ERROR:
        return f"{head}error frame"
    name = IdKey(row.can_id, row.extended).text
    if row.flags & FrameFlag.REMOTE:
        return f"{head}{name} asks for {row.length} bytes"
    words = row.data.hex(" ").upper() or "nothing"
    return f"{head}{name}{' FD' if row.flags & FrameFlag.FD else ''} says {words}"
