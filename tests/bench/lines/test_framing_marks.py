"""Framing errors and breaks among the bytes, as a POSIX system marks them (POSIX.1-2017, XBD 11.2.2)."""

from __future__ import annotations

from contextlib import closing

import pytest
from bench_stand_ins import Pty, until
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.lines.framing_marks import MarkDecoder, ask_for_marks
from benchcheck.bench.lines.serial_line import LineListener
from benchcheck.bench.port import close_port, open_port

# (what the system hands on, what came over the wire, framing errors, breaks)
EVENTS = st.sampled_from(
    [
        (b"\xff\xff", b"\xff", 0, 0),
        (b"\xff\x00\x00", b"", 0, 1),
        (b"\xff\x00A", b"A", 1, 0),
        (b"\xff\x00\xff", b"\xff", 1, 0),
        (b"A", b"A", 0, 0),
        (b"\x00", b"\x00", 0, 0),
    ]
)


@given(st.lists(EVENTS, max_size=20), st.data())
def test_marks_are_taken_out_in_any_cut(events: list[tuple[bytes, bytes, int, int]], draw: st.DataObject) -> None:
    text = b"".join(event[0] for event in events)
    places = sorted(draw.draw(st.lists(st.integers(0, len(text)), max_size=5)))
    decoder = MarkDecoder()
    heard = b"".join(decoder.feed(text[a:b]) for a, b in zip([0, *places], [*places, len(text)], strict=True))
    assert heard == b"".join(event[1] for event in events)
    assert decoder.errors == sum(event[2] for event in events)
    assert decoder.breaks == sum(event[3] for event in events)


@given(st.lists(st.binary(max_size=30), max_size=5))
def test_anything_is_taken(pieces: list[bytes]) -> None:
    decoder = MarkDecoder()
    for piece in pieces:
        decoder.feed(piece)
    decoder.feed(b"\xff\xff\xff\xff")
    assert decoder.feed(b"end").endswith(b"end")


def test_on_a_port_that_has_the_setting_a_plain_ff_comes_as_one() -> None:
    """Framing errors don't cross a pseudo-terminal; that the system doubles an FF does."""
    with Pty() as pty, closing(LineListener(pty.name)) as listener:
        listener.open()
        assert listener.framing_errors_reported
        pty.say(b"a\xffb\x00")
        heard = b""

        def enough() -> bool:
            nonlocal heard
            heard += b"".join(chunk.data for chunk in listener.drain())
            return len(heard) >= 4

        until(enough)
        assert heard == b"a\xffb\x00"


def test_framing_errors_reach_whoever_drains(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stand-in at the port's edge: what the system would hand on for a byte at a wrong speed."""
    monkeypatch.setattr("benchcheck.bench.port_reader.PortReader.read", lambda reader: marked.pop() if marked else b"")
    marked = [b"\xff\x00\x00", b"ok\xff\x00\x99"]
    with Pty() as pty, closing(LineListener(pty.name)) as listener:
        listener.open()
        pty.say(b"anything")
        until(lambda: not marked)
        chunks = listener.drain()
        assert [(chunk.data, chunk.framing_errors) for chunk in chunks] == [(b"ok\x99", 1)]
        assert listener.breaks == 1


def test_a_port_without_the_setting_is_left() -> None:
    port = open_port("loop://")
    try:
        assert not ask_for_marks(port)
    finally:
        close_port(port)
