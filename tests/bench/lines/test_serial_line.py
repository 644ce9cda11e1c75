from __future__ import annotations

import select
import termios
import threading
from contextlib import closing
from types import SimpleNamespace

import pytest
from bench_stand_ins import Pty, TcpLines, until

from benchcheck.bench.clock import FakeClock
from benchcheck.bench.lines import line_hub
from benchcheck.bench.lines.serial_line import LineListener
from benchcheck.bench.link import LinkState
from benchcheck.bench.port import open_port, printable, split_framing
from benchcheck.words.errors import SetupError

# published sentence, an open test file of a marine library
SENTENCE = b"$HCHDG,101.1,,,7.1,W*3C\r\n"


@pytest.fixture
def pty():
    with Pty() as made:
        yield made


def heard(listener, count):
    chunks = []

    def enough():
        chunks.extend(listener.drain())
        return sum(len(chunk) for _, chunk, _ in chunks) >= count

    until(enough)
    return chunks


def test_bytes_come_as_they_were_sent_with_their_time(pty):
    clock = FakeClock()
    with closing(LineListener(pty.name, 4800, clock=clock)) as listener:
        listener.open()
        pty.say(SENTENCE + b"\x00\xff\x1b")
        chunks = heard(listener, len(SENTENCE) + 3)
        assert b"".join(chunk for _, chunk, _ in chunks) == SENTENCE + b"\x00\xff\x1b"
        assert {stamp for stamp, _, _ in chunks} == {clock.stamp_ns()}
        assert listener.drain() == []
        assert listener.state is LinkState.LISTENING
    assert listener.state is LinkState.CLOSED
    assert pty.heard == b""  # a listener never sends


def test_it_listens_over_tcp_too():
    with TcpLines({}) as server, closing(LineListener(f"socket://127.0.0.1:{server.port}", 9600)) as listener:
        listener.open()
        server.say(SENTENCE * 50)
        assert b"".join(chunk for _, chunk, _ in heard(listener, len(SENTENCE) * 50)) == SENTENCE * 50
        listener.set_speed(4800)
        server.hang_up()
        until(lambda: listener.state is LinkState.LINK_LOST)
        assert "closed" in listener.why


def test_speed_and_framing_reach_the_port(pty):
    with closing(LineListener(pty.name, 4800)) as listener:
        listener.open()
        # the pseudo-terminal's other end sees the speed
        assert termios.tcgetattr(pty.master)[5] == termios.B4800
        listener.set_speed(9600, "8N2")
        settings = termios.tcgetattr(pty.master)
        assert settings[5] == termios.B9600
        assert settings[2] & termios.CSTOPB
        assert (listener.baud, listener.framing) == (9600, "8N2")
        pty.say(b"after")
        assert b"".join(chunk for _, chunk, _ in heard(listener, 5)) == b"after"


def test_a_framing_that_the_port_refuses_changes_nothing(pty):
    """A pseudo-terminal takes no seven-bit framing."""
    with closing(LineListener(pty.name, 4800)) as listener:
        listener.open()
        with pytest.raises(SetupError, match="does not take 9600 baud 7E1"):
            listener.set_speed(9600, "7E1")
        assert (listener.baud, listener.framing) == (4800, "8N1")
        assert termios.tcgetattr(pty.master)[5] == termios.B4800
        pty.say(b"after")
        assert b"".join(chunk for _, chunk, _ in heard(listener, 5)) == b"after"
    with pytest.raises(SetupError, match="does not take"):
        LineListener(pty.name, 4800, "7E1").open()


def test_a_full_queue_drops_and_counts(pty):
    with closing(LineListener(pty.name, queue_chunks=1)) as listener:
        listener.open()
        pty.say(b"first")
        until(lambda: len(listener._queue) == 1)
        pty.say(b"second")
        until(lambda: listener.dropped_bytes == 6)
        assert [chunk for _, chunk, _ in listener.drain()] == [b"first"]


def test_unplugging_is_link_lost_as_data(pty):
    with closing(LineListener(pty.name)) as listener:
        listener.open()
        pty.say(b"last words")
        heard(listener, 10)
        pty.unplug()
        until(lambda: listener.state is LinkState.LINK_LOST)
        assert listener.why.isprintable()
        assert listener.drain() == []


def test_a_flush_between_look_and_read_is_no_lost_link(pty, monkeypatch):
    """A change of speed drops what has come; the reader may just have been told that it is there."""
    looked = threading.Event()

    def look(reading, writing, failing, wait_s):
        ready = select.select(reading, writing, failing, wait_s)
        if ready[0] and not looked.is_set():
            termios.tcflush(reading[0], termios.TCIFLUSH)
            looked.set()
        return ready

    monkeypatch.setattr(line_hub, "select", SimpleNamespace(select=look))
    with closing(LineListener(pty.name)) as listener:
        listener.open()
        pty.say(b"dropped")
        until(looked.is_set)
        pty.say(b"kept")
        assert b"".join(chunk for _, chunk, _ in heard(listener, 4)) == b"kept"
        assert listener.state is LinkState.LISTENING


def test_the_port_is_ours_alone(pty):
    with closing(LineListener(pty.name)) as first, closing(LineListener(pty.name)) as second:
        first.open()
        with pytest.raises(SetupError, match="in use"):
            second.open()


def test_dtr_and_rts_are_low_before_the_port_opens(monkeypatch):
    """A pseudo-terminal has no such lines: a stand-in at the library's edge looks at what is set, and when."""
    import serial

    seen = []

    class Recorder:
        def __init__(self, port, **options):
            seen.append(options)

        def __setattr__(self, name, value):
            seen.append((name, value))

        def open(self):
            seen.append("open")

    monkeypatch.setattr(serial, "serial_for_url", lambda port, **options: Recorder(port, **options))
    open_port("COM7")
    assert seen[0] == {"do_not_open": True, "exclusive": True}
    assert seen.index(("dtr", False)) < seen.index("open")
    assert seen.index(("rts", False)) < seen.index("open")


@pytest.mark.parametrize(
    ("port", "text"),
    [("/dev/no-such-port", "is not there"), ("socket://127.0.0.1:1", "nobody listens"), ("what://x", "can't be used")],
)
def test_what_can_not_be_opened_is_said_in_words(port, text):
    listener = LineListener(port)
    with pytest.raises(SetupError, match=text) as caught:
        listener.open()
    assert caught.value.hint
    listener.close()


def test_framing():
    assert split_framing("8N1") == (8, "N", 1)
    assert split_framing("7e2") == (7, "E", 2)
    with pytest.raises(SetupError, match="no framing"):
        split_framing("9X1")
    with pytest.raises(SetupError, match="no framing"):
        LineListener("x", framing="8N")


def test_nothing_received_can_move_a_cursor():
    assert printable(b"\x1b[2J ok \xff") == "\\x1b[2J ok \\xff"
    assert printable("\u202e\n") == "\\u202e\\n"
