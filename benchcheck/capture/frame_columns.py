"""Columns of frames gathered until there are enough for a large batch."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from benchcheck.capture.recording import CAPTURE_FRAMES
from benchcheck.words.frames import FrameBatch

_ENOUGH = CAPTURE_FRAMES // 2
_ROOM = CAPTURE_FRAMES + _ENOUGH


class FrameColumns:
    """Frames come as batches, which are copied once where there are several, or are written where there is room for them."""

    def __init__(self) -> None:
        self._alone: FrameBatch | None = None  # the only batch so far, handed on as it is
        self._columns: FrameBatch | None = None
        self._count = 0

    def add(self, batch: FrameBatch, start: int, stop: int) -> None:
        """Take in the frames of `batch` from `start` to before `stop`."""
        if start >= stop:
            return
        part = batch if stop - start == len(batch) else batch.rows(slice(start, stop))
        if not self._count:
            self._alone = part
        else:
            _copy(part, self.room(len(part), part.data.shape[1]))
        self._count += len(part)

    def room(self, count: int, width: int = 8) -> FrameBatch:
        """Where the next `count` frames go, to be written into; they count once `filled` is called."""
        alone, self._alone = self._alone, None
        width = max(width, alone.data.shape[1] if alone is not None else 8)
        columns = self._columns
        if columns is None or self._count + count > len(columns) or columns.data.shape[1] < width:
            width = max(width, 8 if columns is None else columns.data.shape[1])
            wider = _empty(max(_ROOM, self._count + count), width)
            if columns is not None:
                _copy(columns.rows(slice(0, self._count)), wider.rows(slice(0, self._count)))
            columns = self._columns = wider
        if alone is not None:
            _copy(alone, columns.rows(slice(0, self._count)))
        return columns.rows(slice(self._count, self._count + count))

    def filled(self, count: int) -> None:
        self._count += count

    def full(self) -> Iterator[FrameBatch]:
        """What was gathered, where that is much."""
        if self._count >= _ENOUGH:
            yield from self.take()

    def take(self) -> Iterator[FrameBatch]:
        """What was gathered, where there is anything."""
        alone, columns, count = self._alone, self._columns, self._count
        self._alone, self._columns, self._count = None, None, 0
        if alone is not None:
            yield alone
        elif columns is not None and count:
            yield columns.rows(slice(0, count))


def _empty(count: int, width: int) -> FrameBatch:
    """Columns in one piece of memory: several would be given back to the system each time, and be fetched anew."""
    count += -count % 8
    memory = np.empty(count * (17 + width), np.uint8)
    ends = np.cumsum([8 * count, 2 * count, 4 * count, 2 * count, count]).tolist()
    time_ns, bus, can_id, flags, length, data = (
        memory[start:end] for start, end in zip([0, *ends], [*ends, len(memory)], strict=True)
    )
    return FrameBatch(
        time_ns.view(np.int64),
        bus.view(np.uint16),
        can_id.view(np.uint32),
        flags.view(np.uint16),
        length,
        data.reshape(count, width),
    )


def _copy(batch: FrameBatch, into: FrameBatch) -> None:
    into.time_ns[:] = batch.time_ns
    into.bus[:] = batch.bus
    into.can_id[:] = batch.can_id
    into.flags[:] = batch.flags
    into.length[:] = batch.length
    width = batch.data.shape[1]
    into.data[:, :width] = batch.data
    into.data[:, width:] = 0
