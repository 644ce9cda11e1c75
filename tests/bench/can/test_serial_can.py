"""Opening and reading a serial-line CAN adapter: silent first, refusals heard, nothing lost without being counted."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing

import pytest
from bench_stand_ins import Pty, until

from benchcheck.bench.can.can_adapter import CanAdapter
from benchcheck.bench.can.can_interface import PassiveState
from benchcheck.bench.can.serial_can_words import StatusBit
from benchcheck.bench.link import LinkState
from benchcheck.words.errors import SetupError


class Adapter(Pty):
    """Answers commands: yes, or no to those in `refused`."""

    def __init__(self, refused: bytes = b"", status: bytes = b"") -> None:
        self.refused = refused
        self.status = status
        self._line = b""
        super().__init__()

    def on_bytes(self, data: bytes) -> None:
        super().on_bytes(data)
        self._line += data
        while b"\r" in self._line:
            line, _, self._line = self._line.partition(b"\r")
            if line[:1] == b"F" and self.status:
                self.say(b"F" + self.status + b"\r")
            else:
                self.say(b"\a" if line and line[:1] in self.refused else b"\r")


@pytest.fixture
def made() -> Iterator[Adapter]:
    with Adapter() as adapter:
        yield adapter


def opened(pty: Pty, **options: object) -> CanAdapter:
    adapter = CanAdapter("can1", "slcan", pty.name, 250000, **options)  # type: ignore[arg-type]
    adapter.open()
    return adapter


def test_silent_mode_is_asked_for_first_and_its_yes_is_heard(made: Adapter) -> None:
    with closing(opened(made)) as adapter:
        assert adapter.passive.state is PassiveState.BY_THE_ADAPTERS_WORD
        assert made.heard.startswith(b"\r\r\rC\rS5\rL\r")
        assert b"O" not in made.heard


def test_a_refused_silent_mode_is_an_error_in_words_and_nothing_stays_open() -> None:
    with Adapter(refused=b"L") as pty:
        with pytest.raises(SetupError, match="refuses silent mode") as caught:
            opened(pty)
        assert "--acknowledge" in caught.value.hint
        with closing(opened(pty, acknowledge=True)) as adapter:
            assert adapter.passive.state is PassiveState.ACKNOWLEDGES


def test_a_refused_bit_rate_is_an_error_in_words() -> None:
    with Adapter(refused=b"S") as pty, pytest.raises(SetupError, match="refuses 250000 bit/s"):
        opened(pty)


def test_a_refused_opening_is_an_error_in_words() -> None:
    with Adapter(refused=b"O") as pty, pytest.raises(SetupError, match="refuses to open"):
        opened(pty, acknowledge=True)


def test_frames_right_behind_the_answer_are_not_lost() -> None:
    class Eager(Adapter):
        def on_bytes(self, data: bytes) -> None:
            super().on_bytes(data)
            if b"L\r" in data:
                self.say(b"t1230\rt12")

    with Eager() as pty, closing(opened(pty)) as adapter:
        pty.say(b"40\r")
        until(lambda: adapter.counts.frames == 2)
        assert adapter.drain().can_id.tolist() == [0x123, 0x124]


def test_a_channel_left_open_by_somebody_else_is_closed_first() -> None:
    class Chatty(Adapter):
        def on_bytes(self, data: bytes) -> None:
            if b"C\r" in data:
                self.say(b"t7FF0\r" * 20)
            super().on_bytes(data)

    with Chatty() as pty, closing(opened(pty)) as adapter:
        pty.say(b"t1230\r")
        until(lambda: adapter.counts.frames >= 1)
        assert adapter.drain().can_id.tolist() == [0x123]


def test_what_nobody_drains_is_dropped_and_counted_and_no_two_halves_become_a_frame(made: Adapter) -> None:
    with closing(opened(made, queue_frames=40)) as adapter:
        sent = 400
        for number in range(sent):
            made.say(b"t%03X8%016X\r" % (number, number))
            if number == 20:
                until(lambda: made_room(adapter) > 0)
        until(lambda: adapter._source.dropped > 0)
        until(lambda: adapter._source._port.in_waiting == 0)  # type: ignore[attr-defined]
        heartbeat = adapter.heartbeat_ns
        until(lambda: adapter.heartbeat_ns > heartbeat)  # what was read is in the queue
        batch, counts = adapter.drain(), adapter.counts
        assert 0 < counts.frames < sent
        for can_id, data in zip(batch.can_id.tolist(), batch.data, strict=True):
            assert int.from_bytes(data.tobytes(), "big") == can_id
        made.say(b"t7AA0\r")
        until(lambda: adapter.counts.frames > counts.frames)
        assert 0x7AA in adapter.drain().can_id.tolist()


def made_room(adapter: CanAdapter) -> int:
    """Bytes that wait to be looked at."""
    return adapter._source._put_bytes  # type: ignore[attr-defined, no-any-return]


def test_frames_lost_inside_the_adapter_count_as_dropped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchcheck.bench.can.serial_can._STATUS_EVERY_NS", 1_000_000)
    with Adapter(status=b"08") as pty, closing(opened(pty)) as adapter:
        until(lambda: adapter.counts.dropped >= 1)
        assert adapter.status == StatusBit.OVERRUN


def test_an_adapter_without_a_status_is_not_asked_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchcheck.bench.can.serial_can._STATUS_EVERY_NS", 1_000_000)
    with Adapter(refused=b"F") as pty, closing(opened(pty)) as adapter:
        until(lambda: b"F" in pty.heard)
        until(lambda: not adapter.counts.frames and not adapter._source._tells_status)  # type: ignore[attr-defined]
        assert adapter.status is None
        assert adapter.state is LinkState.LISTENING
