"""One thread that reads any number of serial lines: waits for whichever speaks, takes what is there, rests 5 ms.

The rest is what makes it cheap: at 115,200 baud some 60 bytes gather in it, and the smallest buffer in the way holds thousands.
"""

from __future__ import annotations

import os
import select
import threading
from collections.abc import Iterable
from typing import Protocol

from benchcheck.bench.link import REOPEN_S

_SLICE_S = 0.05  # how soon a line that was added is heard, and one that was removed let go
_REST_S = 0.005


class HubLine(Protocol):
    """What a hub reads. Everything but `fileno` may be slow or fail by itself; nothing raises."""

    def fileno(self) -> int:
        """What to wait on; below 0 where there is nothing, as while the port is gone."""

    def take(self) -> bool:
        """Take what is there without waiting, and notice when the port is gone; whether anything came."""

    def look_for(self) -> None:
        """Open the port again if it is gone and has come back."""


class LineHub:
    """Runs its thread while it has lines."""

    def __init__(self) -> None:
        self._lines: list[HubLine] = []
        self._changing = threading.Lock()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def add(self, line: HubLine) -> None:
        with self._changing:
            self._lines = [*self._lines, line]
            if self._thread is None:
                self._stop.clear()
                self._thread = threading.Thread(target=self._run, name="lines", daemon=True)
                self._thread.start()

    def remove(self, line: HubLine) -> None:
        """Returns when the line is not looked at any more, at once where it is not known. Call it before closing."""
        with self._changing:
            self._lines = [other for other in self._lines if other is not line]
            thread, left = self._thread, bool(self._lines)
            if not left:
                self._stop.set()
                self._thread = None
        if thread is not None and not left:
            thread.join()

    def _run(self) -> None:
        round_ = 0
        every = max(1, round(REOPEN_S / _SLICE_S))
        while not self._stop.is_set():
            lines = self._lines
            took = [line for line in _ready(lines, self._stop) if line.take()]
            round_ += 1
            if round_ % every == 0:
                for line in lines:
                    line.look_for()
            if took:
                self._stop.wait(_REST_S)


def _ready(lines: Iterable[HubLine], stop: threading.Event) -> list[HubLine]:
    """The lines that have something, after waiting for one for a moment."""
    if os.name != "posix":
        stop.wait(_REST_S)
        return list(lines)
    by_number = {number: line for line in lines if (number := line.fileno()) >= 0}
    if not by_number:
        stop.wait(_SLICE_S)
        return []
    try:
        ready = select.select(list(by_number), [], [], _SLICE_S)[0]
    except (OSError, ValueError):
        return []  # one was closed meanwhile
    return [by_number[number] for number in ready]
