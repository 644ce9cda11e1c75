"""Many lines on one thread: heard, lost, found again, and let go."""

from __future__ import annotations

import threading
from contextlib import ExitStack, closing

from bench_stand_ins import Pty, until

from benchcheck.bench.lines.line_hub import LineHub
from benchcheck.bench.lines.serial_line import LineListener
from benchcheck.bench.link import LinkState


def text_of(listener: LineListener) -> bytes:
    return b"".join(chunk.data for chunk in listener.drain())


def test_sixteen_lines_share_one_thread_and_none_hears_another() -> None:
    hub = LineHub()
    before = threading.active_count()
    with ExitStack() as stack:
        ptys = [stack.enter_context(Pty()) for _ in range(16)]
        threads = threading.active_count()
        lines = [LineListener(pty.name, 115200, hub=hub) for pty in ptys]
        for line in lines:
            line.open()
            stack.enter_context(closing(line))
        assert threading.active_count() == threads + 1
        heard = [b""] * 16
        for number, pty in enumerate(ptys):
            pty.say(b"line %d\n" % number * 20)

        def all_heard() -> bool:
            for number, line in enumerate(lines):
                heard[number] += text_of(line)
            return all(len(text) >= 20 * 7 for text in heard)

        until(all_heard)
        assert heard == [b"line %d\n" % number * 20 for number in range(16)]
    assert threading.active_count() == before


def test_a_line_that_is_lost_does_not_stop_the_others_and_is_found_again(tmp_path) -> None:
    hub = LineHub()
    name = tmp_path / "by-id-of-the-line"
    with Pty() as first, Pty() as second, Pty() as other, ExitStack() as stack:
        name.symlink_to(first.name)
        lost, well = LineListener(str(name), hub=hub), LineListener(other.name, hub=hub)
        for line in (lost, well):
            line.open()
            stack.enter_context(closing(line))
        first.say(b"before")
        until(lambda: b"before" in text_of(lost))
        first.unplug()
        until(lambda: lost.state is LinkState.LINK_LOST)
        other.say(b"still here")
        until(lambda: b"here" in text_of(well))
        assert lost.outages[0].end_ns is None
        name.unlink()
        name.symlink_to(second.name)
        until(lambda: lost.state is LinkState.LISTENING)
        second.say(b"after")
        until(lambda: b"after" in text_of(lost))
        assert len(lost.outages) == 1
        assert lost.outages[0].end_ns is not None
        assert lost.outages[0].end_ns > lost.outages[0].start_ns


def test_lines_come_and_go() -> None:
    hub = LineHub()
    with Pty() as pty:
        for _ in range(5):
            with closing(LineListener(pty.name, hub=hub)) as line:
                line.open()
                pty.say(b"x")
                until(lambda line=line: text_of(line) == b"x")
            assert line.state is LinkState.CLOSED
            line.close()
