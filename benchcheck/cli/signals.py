"""Ends in order when the system asks for the end: the supply goes off, and the record is closed."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def ends_in_order() -> Iterator[None]:
    """Within this, a terminal that closes (SIGHUP) or a request to end (SIGTERM) is taken like Ctrl-C."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def interrupt(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    names = ("SIGTERM", "SIGHUP")  # Windows has no SIGHUP
    before = {getattr(signal, name): signal.getsignal(getattr(signal, name)) for name in names if hasattr(signal, name)}
    for number in before:
        signal.signal(number, interrupt)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
