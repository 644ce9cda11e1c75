"""How much faster the vectorised count is than the plain one, in one run: pytest -m long -n 0 -s tests/traffic/wire/bench_wire_bits.py"""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median

import numpy as np
import plain_bits
import pytest

from benchcheck.traffic.wire.wire_bits import wire_bits
from benchcheck.words.frames import FD_LENGTHS, FrameBatch, FrameFlag

COUNT, FEW, ROUNDS = 400_000, 400, 9
SEED = 1
WANTED_TIMES = 200
"""The least ratio that is asked for; it is reached several times over, so that a busy machine does not matter."""


def classic_of_eight(rng: np.random.Generator) -> FrameBatch:
    """29-bit identifiers and 8 data bytes, all random."""
    return _batch(rng, np.full(COUNT, FrameFlag.EXTENDED.value), np.full(COUNT, 8))


def classic_of_all_lengths(rng: np.random.Generator) -> FrameBatch:
    """Both identifier widths and 0 to 8 data bytes, mixed from frame to frame, all random."""
    return _batch(rng, rng.integers(0, 2, COUNT) * FrameFlag.EXTENDED, rng.integers(0, 9, COUNT))


def fd_of_all_lengths(rng: np.random.Generator) -> FrameBatch:
    """FD frames of both identifier widths and of 0 to 64 data bytes, with bit-rate switch, all random."""
    count = COUNT // 8
    flags = rng.integers(0, 2, count) * FrameFlag.EXTENDED + (FrameFlag.FD | FrameFlag.BRS).value
    return _batch(rng, flags, rng.choice(FD_LENGTHS, count))


def _batch(rng: np.random.Generator, flags: np.ndarray, lengths: np.ndarray) -> FrameBatch:
    count = len(flags)
    width = 64 if lengths.max() > 8 else 8
    can_id = rng.integers(0, 1 << 29, count) >> np.where(flags & FrameFlag.EXTENDED, 0, 18)
    data = rng.integers(0, 256, (count, width)) * (np.arange(width) < lengths[:, None])
    return FrameBatch(
        np.zeros(count, np.int64),
        np.zeros(count, np.uint16),
        can_id.astype(np.uint32),
        flags.astype(np.uint16),
        lengths.astype(np.uint8),
        data.astype(np.uint8),
    )


def _plain(batch: FrameBatch, row: int) -> int:
    flags, can_id = int(batch.flags[row]), int(batch.can_id[row])
    data = bytes(batch.data[row, : batch.length[row]])
    extended = bool(flags & FrameFlag.EXTENDED)
    if flags & FrameFlag.FD:
        return len(plain_bits.fd(can_id, data, extended=extended, brs=True).bits)
    return len(plain_bits.classic(can_id, data, extended=extended).bits)


@pytest.mark.long
@pytest.mark.parametrize("made", [classic_of_eight, classic_of_all_lengths, fd_of_all_lengths])
def test_ratio_to_the_plain_way(made: Callable[[np.random.Generator], FrameBatch]) -> None:
    batch = made(np.random.default_rng(SEED))
    wire_bits(batch)  # makes the tables
    fast, slow = [], []
    for _ in range(ROUNDS):  # by turns, so that both meet the same disturbances
        start = time.perf_counter()
        bits = wire_bits(batch)
        middle = time.perf_counter()
        plain = [_plain(batch, row) for row in range(FEW)]
        fast.append((middle - start) / len(batch))
        slow.append((time.perf_counter() - middle) / FEW)
    ratio = median(slow) / median(fast)
    print(
        f"\n{made.__name__}: {1e-6 / median(fast):.1f} million frames/s (best {1e-6 / min(fast):.1f}), "
        f"plain {1e-6 / median(slow):.3f}: {ratio:,.0f} times"
    )
    assert bits[:FEW].tolist() == plain
    assert ratio >= WANTED_TIMES
