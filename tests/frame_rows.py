"""Frames written as tuples, made into batches: for the tests of traffic and captures."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from benchcheck.words.frames import FrameBatch

# (time_ns, bus, can_id, flags, data)
Row = tuple[int, int, int, int, bytes]


def batch_of(rows: Sequence[Row], lengths: Sequence[int] | None = None) -> FrameBatch:
    """`lengths` where they are not those of the data (remote frames)."""
    width = 64 if any(len(row[4]) > 8 for row in rows) else 8
    data = np.zeros((len(rows), width), np.uint8)
    for index, row in enumerate(rows):
        data[index, : len(row[4])] = list(row[4])
    return FrameBatch(
        np.array([row[0] for row in rows], np.int64),
        np.array([row[1] for row in rows], np.uint16),
        np.array([row[2] for row in rows], np.uint32),
        np.array([row[3] for row in rows], np.uint16),
        np.array([len(row[4]) for row in rows] if lengths is None else lengths, np.uint8),
        data,
    )


def cut(batch: FrameBatch, start: int, end: int) -> FrameBatch:
    return FrameBatch(
        batch.time_ns[start:end],
        batch.bus[start:end],
        batch.can_id[start:end],
        batch.flags[start:end],
        batch.length[start:end],
        batch.data[start:end],
    )
