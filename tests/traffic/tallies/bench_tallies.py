"""How much faster tallies of columns are than a plain loop: pytest -m long -n 0 -s tests/traffic/tallies/bench_tallies.py

The plain loop does the least of what is compared: periods, longest gaps and one-second windows, frame by frame.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median

import numpy as np
import pytest
from frame_rows import cut

from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.frames import FrameBatch, FrameFlag

COUNT, FEW, BATCH, ROUNDS = 2_000_000, 100_000, 65_536, 5
WANTED_TIMES = 5
"""The least ratio that is asked for; it is reached several times over, so that a busy machine does not matter."""


def recording() -> FrameBatch:
    """100 identifiers of 29 bits in random order, 8 random data bytes, 6,700 frames a second."""
    random = np.random.default_rng(1)
    ids = random.integers(0, 1 << 29, 100).astype(np.uint32)
    return FrameBatch(
        1_700_000_000_000_000_000 + np.cumsum(random.integers(100_000, 200_000, COUNT)),
        np.zeros(COUNT, np.uint16),
        ids[random.integers(0, 100, COUNT)],
        np.full(COUNT, FrameFlag.EXTENDED.value, np.uint16),
        np.full(COUNT, 8, np.uint8),
        random.integers(0, 256, (COUNT, 8), dtype=np.uint8),
    )


def tallied(batch: FrameBatch) -> TrafficTally:
    tally = TrafficTally()
    for start in range(0, len(batch), BATCH):
        tally.update(cut(batch, start, start + BATCH))
    return tally


def plain(batch: FrameBatch) -> dict[int, tuple[int, int]]:
    """(frames, longest gap) by identifier."""
    origin = int(batch.time_ns[0])
    counts: dict[int, int] = {}
    last: dict[int, int] = {}
    longest: dict[int, int] = {}
    windows: dict[int, int] = {}
    for time_ns, can_id in zip(batch.time_ns.tolist(), batch.can_id.tolist(), strict=True):
        window = (time_ns - origin) // 1_000_000_000
        windows[window] = windows.get(window, 0) + 1
        counts[can_id] = counts.get(can_id, 0) + 1
        if can_id in last:
            longest[can_id] = max(longest.get(can_id, 0), time_ns - last[can_id])
        last[can_id] = time_ns
    return {can_id: (count, longest[can_id]) for can_id, count in counts.items()}


def seconds(work: Callable[[], object]) -> float:
    start = time.process_time()  # the machine may be busy with other things
    work()
    return time.process_time() - start


@pytest.mark.long
def test_tallies_against_a_plain_loop(monkeypatch: pytest.MonkeyPatch) -> None:
    batch = recording()
    few = cut(batch, 0, FEW)
    ids = tallied(few).buses[0].ids
    assert {key: (s.count, s.max_gap_ns) for key, s in ids.items()} == {
        IdKey(can_id, True): both for can_id, both in plain(few).items()
    }
    with_bits = median(COUNT / seconds(lambda: tallied(batch)) for _ in range(ROUNDS))

    def no_bits(batch: FrameBatch) -> tuple[np.ndarray, np.ndarray]:  # they have a benchmark of their own
        return np.full(len(batch), 130, np.int64), np.zeros(len(batch), np.int64)

    monkeypatch.setattr("benchcheck.traffic.tallies.bus_tally.wire_bit_parts", no_bits)
    alone = median(COUNT / seconds(lambda: tallied(batch)) for _ in range(ROUNDS))
    slow = median(FEW / seconds(lambda: plain(few)) for _ in range(ROUNDS))
    print(
        f"\ntallies {alone / 1e6:.1f} million frames/s, with exact wire bits {with_bits / 1e6:.1f}, "
        f"a plain loop {slow / 1e6:.2f}: {alone / slow:.0f} and {with_bits / slow:.0f} times"
    )
    assert with_bits >= WANTED_TIMES / 2 * slow
    assert alone >= WANTED_TIMES * slow
