"""An adapter pulled out and put back at random moments under load: every outage is noted, and it is heard again at once."""

from __future__ import annotations

import random
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest
from bench_stand_ins import Pty, until

from benchcheck.bench.can.can_adapter import CanAdapter
from benchcheck.bench.link import LinkState


class Talker(Pty):
    """Answers yes, and sends frames all the time once its channel is open."""

    def __init__(self) -> None:
        self._over = threading.Event()
        self._open = threading.Event()
        super().__init__()
        self._sender = threading.Thread(target=self._send)
        self._sender.start()

    def on_bytes(self, data: bytes) -> None:
        self.say(b"\r" * data.count(b"\r"))
        if b"L\r" in data:
            self._open.set()

    def _send(self) -> None:
        number = 0
        while not self._over.is_set():
            if self._open.wait(0.01):
                try:
                    self.say(b"".join(b"T18FE%04X8%016X\r" % (k & 0xFFFF, k) for k in range(number, number + 9)))
                except OSError:
                    return
                number += 9
            self._over.wait(0.001)

    def unplug(self) -> None:
        self._over.set()
        self._sender.join()
        super().unplug()


def pulled(folder: Path, times: int) -> tuple[CanAdapter, list[float], int]:
    """(the adapter, seconds from each return to the first frame, frames heard)."""
    moments = random.Random(5)
    name, waits, frames = folder / "by-id", [], 0
    adapter = CanAdapter("can1", "slcan", str(name), 1_000_000)
    talker = Talker()
    name.symlink_to(talker.name)
    pause = threading.Event()
    with closing(adapter):
        adapter.open()
        for _ in range(times):
            pause.wait(moments.uniform(0.0, 0.05))
            frames += len(adapter.drain())
            talker.unplug()
            until(lambda: adapter.state is LinkState.LINK_LOST)
            frames += len(adapter.drain())
            name.unlink()
            talker.__exit__(None, None, None)
            pause.wait(moments.uniform(0.0, 0.05))
            talker = Talker()
            name.symlink_to(talker.name)
            back = time.monotonic()
            until(lambda: len(adapter.drain()) > 0)
            waits.append(time.monotonic() - back)
            assert adapter.state is LinkState.LISTENING
        counts = adapter.counts
        assert counts.dropped == 0
        assert len(adapter.outages) == times
        assert all(outage.end_ns is not None and outage.end_ns > outage.start_ns for outage in adapter.outages)
        # at each end of an outage a line may be cut off, and no more
        assert counts.garbled <= 2 * times
    talker.__exit__(None, None, None)
    return adapter, waits, frames


def test_three_times(tmp_path: Path) -> None:
    adapter, waits, _ = pulled(tmp_path, 3)
    assert adapter.state is LinkState.CLOSED
    assert len(waits) == 3


@pytest.mark.long
def test_a_hundred_times(tmp_path: Path) -> None:
    _, waits, _ = pulled(tmp_path, 100)
    print(
        f"\nfirst frame after return: {1000 * max(waits):.0f} ms at most, {1000 * sum(waits) / len(waits):.0f} ms on average"
    )
    assert max(waits) < 1.0
