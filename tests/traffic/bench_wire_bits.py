"""How much faster the vectorised count is than the plain one, in one run: pytest -m long -s tests/traffic/bench_wire_bits.py"""

from __future__ import annotations

import time

import numpy as np
import plain_bits
import pytest

from benchcheck.traffic.wire_bits import wire_bits
from benchcheck.words.frames import FrameBatch


@pytest.mark.long
def test_ratio_to_the_plain_way() -> None:
    count, few = 400_000, 2_000
    rng = np.random.default_rng(1)
    batch = FrameBatch(
        np.zeros(count, np.int64),
        np.zeros(count, np.uint16),
        rng.integers(0, 1 << 29, count, dtype=np.uint32),
        np.ones(count, np.uint16),
        np.full(count, 8, np.uint8),
        rng.integers(0, 256, (count, 8), dtype=np.uint8),
    )
    wire_bits(batch)
    start = time.perf_counter()
    bits = wire_bits(batch)
    fast = (time.perf_counter() - start) / count
    start = time.perf_counter()
    plain = [
        len(plain_bits.classic(int(batch.can_id[k]), bytes(batch.data[k]), extended=True).bits) for k in range(few)
    ]
    slow = (time.perf_counter() - start) / few
    print(f"\nvectorised {1e-6 / fast:.2f} million frames/s, {slow / fast:.0f} times the plain way")
    assert bits[:few].tolist() == plain
