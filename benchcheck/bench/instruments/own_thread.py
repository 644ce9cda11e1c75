"""Calls into a library that may never come back: made in a thread of their own, and waited for up to a deadline.

A call that hangs is given up, and its thread left to itself: it is a daemon, so that the program can end, and when the call comes
back after all, it puts away what it holds and ends. What hangs must let other threads run, as waiting for a port does.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")
_END_S = 2.0


class HungError(Exception):
    """The call did not come back in time."""


class _Job(Generic[T]):
    def __init__(self, work: Callable[[], T]) -> None:
        self._work = work
        self._value: T
        self._error: BaseException | None = None
        self.done = threading.Event()

    def run(self) -> None:
        try:
            self._value = self._work()
        except BaseException as error:
            self._error = error
        self.done.set()

    def result(self) -> T:
        if self._error is not None:
            raise self._error
        return self._value


class OwnThread:
    """One thread, one call at a time, in the order in which they were asked for; by any number of threads."""

    def __init__(self, name: str) -> None:
        self._jobs: queue.SimpleQueue[_Job[object] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._started = threading.Lock()
        self.hung = False

    def call(self, work: Callable[[], T], within_s: float) -> T:
        """What `work` gives or raises; HungError where it doesn't come back, and from then on at once."""
        if self.hung:
            raise HungError
        if self._started.acquire(blocking=False):
            self._thread.start()
        job = _Job(work)
        self._jobs.put(job)  # type: ignore[arg-type]
        if not job.done.wait(within_s):
            self.hung = True
            raise HungError
        return job.result()

    def end(self, last: Callable[[], object] = lambda: None) -> None:
        """Do `last` in the thread, and end it. Where a call hangs, both happen should it ever come back."""
        if self._started.acquire(blocking=False):  # never used
            with contextlib.suppress(Exception):
                last()
            return
        self._jobs.put(_Job(last))
        self._jobs.put(None)
        if not self.hung:
            self._thread.join(_END_S)
            self.hung = self._thread.is_alive()

    def _run(self) -> None:
        while (job := self._jobs.get()) is not None:
            job.run()
