"""A call that hangs for ever does not hang the program; one that comes back late puts away what it holds."""

from __future__ import annotations

import subprocess
import sys
import threading

import pytest
from bench_stand_ins import PtyLines, meter_replies, until

from benchcheck.bench.instruments.meter import ScpiMeter
from benchcheck.bench.instruments.own_thread import HungError, OwnThread
from benchcheck.bench.instruments.scpi import Instrument
from benchcheck.words.errors import LinkLost
from benchcheck.words.meter import MeterSpec

SOON_S = 0.05


def test_what_it_gives_and_what_it_raises():
    own = OwnThread("worker")
    assert own.call(lambda: 7, 5.0) == 7
    with pytest.raises(ZeroDivisionError):
        own.call(lambda: 1 / 0, 5.0)
    assert own.call(threading.get_ident, 5.0) != threading.get_ident()
    own.end()


def test_a_call_that_hangs_is_given_up_and_put_away_when_it_comes_back():
    own, wake, put_away = OwnThread("worker"), threading.Event(), threading.Event()
    with pytest.raises(HungError):
        own.call(wake.wait, SOON_S)
    with pytest.raises(HungError):  # and at once
        own.call(lambda: 1, 1e6)
    own.end(put_away.set)
    assert not put_away.is_set()
    wake.set()
    until(put_away.is_set)


def test_what_is_ended_without_a_call_does_its_last_all_the_same():
    put_away = threading.Event()
    OwnThread("worker").end(put_away.set)
    assert put_away.is_set()


def test_calls_from_many_threads_never_meet():
    own, inside, met = OwnThread("worker"), [], []

    def work():
        inside.append(1)
        met.append(len(inside))
        inside.pop()

    threads = [threading.Thread(target=lambda: [own.call(work, 5.0) for _ in range(50)]) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    own.end()
    assert met == [1] * 200


class Hanging:
    """Stands in for the library's session at its edge: its read blocks until it is woken."""

    def __init__(self, session):
        self._session = session
        self.wake = threading.Event()

    def __getattr__(self, name):
        return getattr(self._session, name)

    def read_bytes(self, count):
        self.wake.wait()
        return self._session.read_bytes(count)


@pytest.fixture
def hanging(monkeypatch):
    """An instrument whose library reads hang from now on."""
    monkeypatch.setattr("benchcheck.bench.instruments.scpi._GRACE_S", 0.05)
    with PtyLines(meter_replies()) as stand_in:
        opened = Instrument("meter", f"ASRL{stand_in.name}::INSTR", timeout_s=0.02)
        edge = opened._session = Hanging(opened._session)
        yield opened
        opened.close()
        edge.wake.set()
        until(lambda: not opened._thread._thread.is_alive())


def test_a_read_that_blocks_for_ever_is_link_lost_in_words(hanging):
    dmm = ScpiMeter(hanging, MeterSpec())
    with pytest.raises(LinkLost, match="hangs: asking MEAS:RES"):
        dmm.ohms()
    with pytest.raises(LinkLost, match="hangs"):
        dmm.volts()


# the same, in a program of its own that must come to its end
PROGRAM = """
import sys, threading
from benchcheck.bench.instruments import scpi
from benchcheck.words.errors import LinkLost
scpi._GRACE_S = 0.05
it = scpi.Instrument("meter", sys.argv[1], timeout_s=0.5)
class Session:
    def __init__(self, inner): self.inner = inner
    def __getattr__(self, name): return getattr(self.inner, name)
    def write(self, command): threading.Event().wait()
it._session = Session(it._session)
try:
    it.query("MEAS:RES?")
except LinkLost as lost:
    print(lost.text)
it.close()
"""


def test_a_program_whose_library_call_never_returns_ends():
    with PtyLines(meter_replies()) as stand_in:
        ended = subprocess.run(
            [sys.executable, "-c", PROGRAM, f"ASRL{stand_in.name}::INSTR"], capture_output=True, text=True, timeout=60
        )
    assert "does not come back" in ended.stdout
    assert (ended.returncode, ended.stderr) == (0, "")


def test_an_instrument_that_was_closed_says_so():
    with PtyLines(meter_replies()) as stand_in:
        opened = Instrument("meter", f"ASRL{stand_in.name}::INSTR")
        opened.close()
        opened.close()
        with pytest.raises(LinkLost, match="was closed"):
            opened.query("MEAS:RES?")
