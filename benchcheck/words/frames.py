"""Traffic as columns. This module imports NumPy: import it only where traffic is handled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntFlag

import numpy as np
from numpy.typing import NDArray


class FrameFlag(IntFlag):
    EXTENDED = 1
    REMOTE = 2
    ERROR = 4
    FD = 8
    BRS = 16
    ESI = 32
    SENT = 64  # sent by this bench, not received


FD_LENGTHS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)
"""Data bytes of an FD frame by its length code (ISO 11898-1)."""

RAW_DLC_SHIFT = 8
"""Bits 8 to 11 of `flags`: the length code as sent, where a classic frame has one of 9 to 15 (which mean 8 bytes); else 0."""


@dataclass(frozen=True, slots=True)
class FrameBatch:
    """n frames in recorder order.

    time_ns  int64[n]      recorder's stamp in nanoseconds
    bus      uint16[n]     index into `buses` of whoever owns the batch
    can_id   uint32[n]     identifier without flag bits
    flags    uint16[n]     FrameFlag bits
    length   uint8[n]      data bytes; for a remote frame the bytes it asks for
    data     uint8[n, w]   w is 8, or 64 where FD frames may occur; unused bytes are 0
    """

    time_ns: NDArray[np.int64]
    bus: NDArray[np.uint16]
    can_id: NDArray[np.uint32]
    flags: NDArray[np.uint16]
    length: NDArray[np.uint8]
    data: NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.time_ns)

    def rows(self, chosen: slice | NDArray[np.intp]) -> FrameBatch:
        """Some rows; by a slice without a copy."""
        return FrameBatch(
            self.time_ns[chosen],
            self.bus[chosen],
            self.can_id[chosen],
            self.flags[chosen],
            self.length[chosen],
            self.data[chosen],
        )

    def copied(self) -> FrameBatch:
        """With arrays of its own: who fed it may use his again."""
        columns = (self.time_ns, self.bus, self.can_id, self.flags, self.length, self.data)
        return FrameBatch(*(column.copy() for column in columns))  # type: ignore[arg-type]


def joined(parts: Sequence[FrameBatch]) -> FrameBatch:
    """One batch of several, one behind the other; there must be one, which is handed on as it is where it is the only one."""
    if len(parts) == 1:
        return parts[0]
    width = max(part.data.shape[1] for part in parts)
    data = np.zeros((sum(map(len, parts)), width), np.uint8)
    place = 0
    for part in parts:
        data[place : place + len(part), : part.data.shape[1]] = part.data
        place += len(part)
    return FrameBatch(
        np.concatenate([part.time_ns for part in parts]),
        np.concatenate([part.bus for part in parts]),
        np.concatenate([part.can_id for part in parts]),
        np.concatenate([part.flags for part in parts]),
        np.concatenate([part.length for part in parts]),
        data,
    )


def no_frames() -> FrameBatch:
    """A batch of none."""
    return FrameBatch(
        np.zeros(0, np.int64),
        np.zeros(0, np.uint16),
        np.zeros(0, np.uint32),
        np.zeros(0, np.uint16),
        np.zeros(0, np.uint8),
        np.zeros((0, 8), np.uint8),
    )
