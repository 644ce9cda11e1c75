"""The frames of a recording that are wanted, in the order of played time, from any place in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchcheck.capture.frame_columns import FrameColumns
from benchcheck.capture.time_index import Event, TimeIndex
from benchcheck.jobs.listening.heard import SECOND_NS
from benchcheck.jobs.playing.frame_rows import Wanted, shown, wanted_of
from benchcheck.words.frames import FrameBatch


@dataclass(frozen=True, slots=True)
class Frames:
    """Some frames that are due together.

    batch     as recorded; `bus` is an index into `names`
    at_ns     int64[n] the played time of each
    names     the buses of the recording so far, without what could steer a terminal
    first_ns  the stamp of the recording's first record
    """

    batch: FrameBatch
    at_ns: NDArray[np.int64]
    names: tuple[str, ...]
    first_ns: int

    def __len__(self) -> int:
        return len(self.at_ns)

    def packed(self) -> tuple[object, ...]:
        """As plain bytes, which go from process to process at a twentieth of the cost of arrays."""
        batch = self.batch
        columns = (self.at_ns, batch.time_ns, batch.bus, batch.can_id, batch.flags, batch.length, batch.data)
        return (self.names, self.first_ns, *(column.tobytes() for column in columns))

    @classmethod
    def unpacked(cls, packed: tuple[Any, ...]) -> Frames:
        names, first_ns, at_ns, time_ns, bus, can_id, flags, length, data = packed
        batch = FrameBatch(
            np.frombuffer(time_ns, np.int64),
            np.frombuffer(bus, np.uint16),
            np.frombuffer(can_id, np.uint32),
            np.frombuffer(flags, np.uint16),
            np.frombuffer(length, np.uint8),
            np.frombuffer(data, np.uint8).reshape(len(length), -1),
        )
        return cls(batch, np.frombuffer(at_ns, np.int64), names, first_ns)


def joined(parts: Sequence[Frames]) -> Frames:
    """One of several, of at least one."""
    if len(parts) == 1:
        return parts[0]
    columns = FrameColumns()
    for part in parts:
        columns.add(part.batch, 0, len(part))
    at_ns = np.concatenate([part.at_ns for part in parts])
    return Frames(next(columns.take()), at_ns, parts[-1].names, parts[-1].first_ns)


class Reel:
    """Stands before one frame (`head_ns`: its played time; None: behind the last one), at first before the first."""

    def __init__(self, index: TimeIndex, wanted: Wanted) -> None:
        self._index = index
        self._wanted = wanted
        self._number = 0  # of the slice that is held
        self._batch: FrameBatch | None = None
        self._at_ns: NDArray[np.int64] = np.zeros(0, np.int64)
        self._place = 0
        self._names: tuple[str, ...] = ()
        self.head_ns: int | None = None
        from_s = wanted.part.from_s
        self._settle()
        if from_s is not None:
            self.go_to(round(from_s * SECOND_NS))

    def go_to(self, at_ns: int) -> None:
        """Stand before the first wanted frame at `at_ns` or later."""
        self._number, self._batch, self._place = self._index.find(at_ns), None, 0
        self._at_ns = self._at_ns[:0]
        self._settle(at_ns)

    def take(self, upto_ns: int, most: int) -> Frames:
        """The next frames with a played time of at most `upto_ns`, and no more than `most`; they may be fewer than are
        due. Only where `head_ns` is not None."""
        assert self._batch is not None
        stop = int(self._at_ns.searchsorted(upto_ns, "right"))
        start, stop = self._place, min(max(stop, self._place + 1), self._place + most)
        taken = Frames(self._batch.rows(slice(start, stop)), self._at_ns[start:stop], self._names, self._first_ns)
        self._place = stop
        if stop < len(self._at_ns):
            self.head_ns = int(self._at_ns[stop])
        else:
            self._number += 1
            self._settle()
        return taken

    def next_event(self, after_ns: int) -> Event | None:
        """The first mark or gap later than that, of the part that is wanted."""
        event = self._index.next_event(after_ns)
        return None if event is None or event.at_ns >= self._before_ns else event

    def look_ahead(self) -> bool:
        """Look through one slice more; False where all was looked through."""
        return self._index.extend()

    @property
    def last_ns(self) -> int:
        """The end of what can be played, as far as is known (`all_known`: it will not change any more)."""
        return min(self._index.end_ns, self._before_ns)

    @property
    def all_known(self) -> bool:
        return self._index.complete or self._index.end_ns >= self._before_ns

    @property
    def notes(self) -> list[str]:
        return list(self._index.notes)

    @property
    def _first_ns(self) -> int:
        return self._index.first_ns or 0

    @property
    def _before_ns(self) -> int:
        to_s = self._wanted.part.to_s
        return 1 << 62 if to_s is None else round(to_s * SECOND_NS)

    def _settle(self, at_ns: int = 0) -> None:
        """Hold the first slice from `_number` on that has a wanted frame at `at_ns` or later, and stand before that."""
        index = self._index
        while self._number < len(index.slices) or index.extend():
            if index.slices[self._number].before.played_ns > self._before_ns:
                break  # where the recorder's clock was set back, a part ends all the same when so much was played
            piece = index.read(self._number)
            self._names = tuple(shown(bus.name) for bus in index.buses)
            if len(piece.frames):
                places = np.flatnonzero(wanted_of(piece.frames, self._names, self._first_ns, self._wanted))
                at = piece.played_ns[places]
                place = int(at.searchsorted(at_ns))
                if place < len(at):
                    self._batch = _some(piece.frames, places)
                    self._at_ns, self._place, self.head_ns = at, place, int(at[place])
                    return
            self._number += 1
        self._batch, self.head_ns = None, None


def _some(batch: FrameBatch, places: NDArray[np.int64]) -> FrameBatch:
    if len(places) == len(batch):
        return batch
    return FrameBatch(
        batch.time_ns[places],
        batch.bus[places],
        batch.can_id[places],
        batch.flags[places],
        batch.length[places],
        batch.data[places],
    )
