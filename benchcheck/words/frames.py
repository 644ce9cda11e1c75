"""Traffic as columns. This module imports NumPy: import it only where traffic is handled."""

from __future__ import annotations

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
