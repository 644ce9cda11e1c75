"""How much faster columns decode than cantools' own loop, in one run: pytest -m long -n 0 -s tests/traffic/signals/bench_signals.py"""

from __future__ import annotations

import time
from pathlib import Path
from statistics import median
from typing import Any

import cantools
import numpy as np
import pytest
from frame_rows import cut

from benchcheck.profile.database import signals_of
from benchcheck.traffic.signals.signals import decode
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.frames import FrameBatch, FrameFlag

LAUNCH = Path(__file__).parents[3] / "profiles" / "survey_launch" / "launch.dbc"
COUNT, FEW, ROUNDS = 400_000, 2_000, 9
BATCH = 65_536
SEED = 1
WANTED_TIMES = 50
"""The least ratio that is asked for."""


@pytest.mark.long
@pytest.mark.parametrize("name", ["MRU_ATTITUDE", "NAV_TIME", "NAV_POSITION"])
@pytest.mark.parametrize("share", [1, 25])
def test_ratio_to_the_loop(name: str, share: int) -> None:
    """All signals of a message, out of traffic in which every frame is of it, or one in `share`: both ways pick them out.

    The traffic comes in batches of the size that a tally takes in at once.
    """
    message: Any = cantools.database.load_file(LAUNCH).get_message_by_name(name)
    key, signals = IdKey(message.frame_id, message.is_extended_frame), signals_of(message)
    rng = np.random.default_rng(SEED)
    own = np.arange(COUNT) % share == 0
    batch = FrameBatch(
        np.arange(COUNT, dtype=np.int64),
        np.zeros(COUNT, np.uint16),
        np.where(own, key.can_id, key.can_id ^ 1).astype(np.uint32),
        np.full(COUNT, FrameFlag.EXTENDED.value if key.extended else 0, np.uint16),
        np.full(COUNT, 8, np.uint8),
        rng.integers(0, 256, (COUNT, 8), dtype=np.uint8),
    )
    batches = [cut(batch, begin, begin + BATCH) for begin in range(0, COUNT, BATCH)]
    few = FEW * share
    rows = list(zip(batch.can_id[:few].tolist(), batch.flags[:few].tolist(), map(bytes, batch.data[:few]), strict=True))
    wanted = (int(key.can_id), int(batch.flags[0]))
    fast, slow = [], []
    for _ in range(ROUNDS):  # by turns, so that both meet the same disturbances
        start = time.perf_counter()
        found = [[column.values for column in decode(part, key, signals)] for part in batches]
        middle = time.perf_counter()
        decoded = [
            message.decode(payload, decode_choices=False)
            for can_id, flags, payload in rows
            if (can_id, flags) == wanted
        ]
        fast.append((middle - start) / int(own.sum()))
        slow.append((time.perf_counter() - middle) / FEW)
    ratio = median(slow) / median(fast)
    print(
        f"\n{name}, {len(signals)} signals, one frame in {share}: {1e-6 / median(fast):.2f} million frames/s, "
        f"cantools {1e-6 / median(slow):.3f}: {ratio:,.0f} times"
    )
    assert len(decoded) == FEW
    for number, signal in enumerate(signals):
        values = np.concatenate([columns[number] for columns in found])
        assert values[:FEW].tolist() == [one[signal.name] for one in decoded]
    assert ratio >= WANTED_TIMES
