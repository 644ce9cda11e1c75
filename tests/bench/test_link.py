"""A link: goes round, is lost, comes back, and says which of these it is."""

from __future__ import annotations

import threading
from contextlib import closing

import pytest
from bench_stand_ins import until

from benchcheck.bench.clock import FakeClock
from benchcheck.bench.link import Link, LinkState, PortGone
from benchcheck.words.errors import SetupError


class Source:
    def __init__(self) -> None:
        self.plugged = True
        self.taken = self.opened = self.closed = 0
        self.held = threading.Event()
        self.hang: threading.Event | None = None

    def open(self) -> None:
        if not self.plugged:
            raise SetupError("is not there")
        self.opened += 1

    def take(self, stop: threading.Event) -> None:
        if self.hang is not None:
            self.held.set()
            self.hang.wait(10)
        if not self.plugged:
            raise PortGone("pulled out")
        self.taken += 1
        stop.wait(0.001)

    def close(self) -> None:
        self.closed += 1


def test_a_link_reads_is_lost_and_comes_back_as_often_as_it_must() -> None:
    source = Source()
    with closing(Link("test", source, FakeClock())) as link:
        assert link.state is LinkState.CLOSED
        link.open()
        for times in range(1, 4):
            before = source.taken
            until(lambda before=before: source.taken > before)
            assert link.state is LinkState.LISTENING
            source.plugged = False
            until(lambda: link.state is LinkState.LINK_LOST)
            assert link.why == "pulled out"
            assert link.outages[-1].end_ns is None
            source.plugged = True
            until(lambda: link.state is LinkState.LISTENING)
            assert len(link.outages) == times
            assert all(outage.end_ns is not None for outage in link.outages)
    assert source.opened == 4
    assert link.state is LinkState.CLOSED


def test_a_reader_that_hangs_is_not_a_silent_wire() -> None:
    clock, source = FakeClock(), Source()
    with closing(Link("test", source, clock)) as link:
        link.open()
        source.hang = threading.Event()
        assert source.held.wait(10)
        clock.advance(1.5)
        assert link.state is LinkState.READER_SILENT
        let_go, source.hang = source.hang, None
        let_go.set()
        until(lambda: link.state is LinkState.LISTENING)


def test_what_can_not_be_opened_is_said_and_nothing_runs() -> None:
    source = Source()
    source.plugged = False
    link = Link("test", source, FakeClock())
    with pytest.raises(SetupError):
        link.open()
    assert link.state is LinkState.CLOSED
    link.close()


def test_closing_while_lost_ends_it() -> None:
    source = Source()
    link = Link("test", source, FakeClock())
    link.open()
    source.plugged = False
    until(lambda: link.state is LinkState.LINK_LOST)
    link.close()
    link.close()
    assert link.state is LinkState.CLOSED
