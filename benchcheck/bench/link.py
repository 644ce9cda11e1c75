"""Keeps one port read: a thread that goes round, shows that it does, and opens the port again when it comes back.

The thread only lets its source take what is there. Whatever else is wrong, the three states are kept apart: the port is gone
(link lost), the thread has not been round for a while (reader silent: that says nothing about the wire), or it listens.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from benchcheck.bench.clock import Clock
from benchcheck.words.errors import SetupError

HEARTBEAT_LATE_NS = 1_000_000_000
REOPEN_S = 0.1  # how often a port that is gone is looked for
_JOIN_S = 1.0


class LinkState(StrEnum):
    CLOSED = "closed"
    LISTENING = "listening"
    LINK_LOST = "link lost"
    READER_SILENT = "reader silent"  # the thread has not been round for a second: says nothing about the wire


class PortGone(Exception):
    """Raised by a source whose port has failed; its text says how."""


@dataclass(frozen=True, slots=True)
class Outage:
    """When nothing could be read, as stamps of the clock; `end_ns` is None while it lasts."""

    start_ns: int
    end_ns: int | None
    why: str


class Source(Protocol):
    """What a link keeps read. `open` and `take` are called by one thread at a time, `close` by any."""

    def open(self) -> None:
        """Open the port. SetupError in words; nothing stays open then."""

    def take(self, stop: threading.Event) -> None:
        """Wait for a moment, then stamp and enqueue what is there. PortGone when the port has failed."""

    def close(self) -> None:
        """Close the port, whatever state it is in. May be called twice."""


class Link:
    """`open`, then the source is read until `close`."""

    def __init__(self, name: str, source: Source, clock: Clock) -> None:
        self._name = name
        self._source = source
        self._clock = clock
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._outages: list[Outage] = []
        self._heartbeat_ns = 0
        self._lost = False

    @property
    def state(self) -> LinkState:
        if self._thread is None:
            return LinkState.CLOSED
        if self._lost:
            return LinkState.LINK_LOST
        if self._clock.stamp_ns() - self._heartbeat_ns > HEARTBEAT_LATE_NS:
            return LinkState.READER_SILENT
        return LinkState.LISTENING

    @property
    def heartbeat_ns(self) -> int:
        """When the reader last went round, as a stamp of the clock; 0 before opening. A silent wire does not stop it."""
        return self._heartbeat_ns

    @property
    def outages(self) -> tuple[Outage, ...]:
        """Since opening, in order."""
        return tuple(self._outages)

    @property
    def why(self) -> str:
        """What ended the link the last time, in words."""
        return self._outages[-1].why if self._outages else ""

    def open(self) -> None:
        """Open the source and start reading. SetupError in words."""
        if self._thread is not None:
            return
        self._source.open()
        self._lost, self._outages = False, []
        self._stop.clear()
        self._heartbeat_ns = self._clock.stamp_ns()
        self._thread = threading.Thread(target=self._run, name=self._name, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop reading and close the source; after a lost link too. May be called twice."""
        thread, self._thread = self._thread, None
        self._stop.set()
        if thread is not None:
            thread.join(_JOIN_S)
        try:
            self._source.close()
        finally:
            if thread is not None:
                thread.join()  # one that still hung in a library falls out of it when the port is closed

    def _run(self) -> None:
        while not self._stop.is_set():
            self._heartbeat_ns = self._clock.stamp_ns()
            try:
                self._source.take(self._stop)
            except PortGone as trouble:
                self._be_out(str(trouble))

    def _be_out(self, why: str) -> None:
        """The port is gone: look for it until it is back."""
        start_ns = self._clock.stamp_ns()
        self._outages.append(Outage(start_ns, None, why))
        self._lost = True
        self._source.close()
        while not self._stop.wait(REOPEN_S):
            self._heartbeat_ns = self._clock.stamp_ns()
            try:
                self._source.open()
            except SetupError:
                continue
            self._outages[-1] = Outage(start_ns, self._clock.stamp_ns(), why)
            self._lost = False
            return
