from __future__ import annotations

import threading
from contextlib import closing

import can
import numpy as np
import pytest
from bench_stand_ins import Pty, TcpLines, until

from benchcheck.bench.can import library_can
from benchcheck.bench.can.can_adapter import CanAdapter
from benchcheck.bench.can.can_interface import PassiveState, facts
from benchcheck.bench.clock import FakeClock
from benchcheck.bench.link import LinkState
from benchcheck.bench.port import open_port
from benchcheck.words.errors import SetupError
from benchcheck.words.frames import FrameFlag


@pytest.fixture
def pty():
    with Pty() as made:
        yield made


def listening(pty, **options):
    adapter = CanAdapter("can1", "slcan", pty.name, 250000, **options)
    adapter.open()
    return closing(adapter)


@pytest.fixture
def wire(request):
    """The other end of python-can's virtual interface."""
    with can.Bus(interface="virtual", channel=request.node.name, ignore_config=True) as bus:
        yield bus


@pytest.fixture
def virtual(request):
    adapter = CanAdapter("can1", "virtual", request.node.name, bus_index=3)
    adapter.open()
    with closing(adapter):
        yield adapter


def test_frames_become_columns(wire, virtual):
    wire.send(can.Message(arbitration_id=0x123, is_extended_id=False, data=b"\x01\x02"))
    wire.send(can.Message(arbitration_id=0x18FEF100, is_extended_id=True, data=bytes(range(8))))
    wire.send(can.Message(arbitration_id=0x7FF, is_extended_id=False, is_remote_frame=True, dlc=4))
    wire.send(can.Message(is_error_frame=True))
    until(lambda: virtual.counts.frames == 4)
    batch = virtual.drain()
    assert batch.can_id[:3].tolist() == [0x123, 0x18FEF100, 0x7FF]
    assert batch.flags[:3].tolist() == [0, FrameFlag.EXTENDED, FrameFlag.REMOTE]
    assert batch.flags[3] & FrameFlag.ERROR
    assert batch.length[:3].tolist() == [2, 8, 4]
    assert batch.data[0].tolist() == [1, 2, 0, 0, 0, 0, 0, 0]
    assert batch.bus.tolist() == [3, 3, 3, 3]
    assert (batch.time_ns.dtype, batch.data.shape) == (np.int64, (4, 8))
    assert len(virtual.drain()) == 0


def test_fd_frames_widen_the_batch(request):
    with (
        can.Bus(
            interface="virtual", channel=request.node.name, ignore_config=True, protocol=can.CanProtocol.CAN_FD
        ) as wire,
        closing(CanAdapter("can1", "virtual", request.node.name)) as adapter,
    ):
        adapter.open()
        wire.send(can.Message(arbitration_id=1, is_extended_id=False, is_fd=True, bitrate_switch=True, data=bytes(64)))
        until(lambda: adapter.counts.frames == 1)
        batch = adapter.drain()
    assert batch.data.shape == (1, 64)
    assert batch.flags[0] == FrameFlag.FD | FrameFlag.BRS


def test_an_interface_is_opened_for_fd_frames_where_it_is_known_how(monkeypatch):
    seen = []
    monkeypatch.setattr(can, "Bus", lambda **options: seen.append(options) or (_ for _ in ()).throw(ValueError("stop")))
    for interface in ("socketcan", "pcan"):
        adapter = CanAdapter("can1", interface, "can0", 500000, fd=True)
        with pytest.raises(SetupError):
            adapter.open()
        assert ("FD frames can't be asked for here" in adapter.identity) == (interface == "pcan")
    assert [options.get("fd") for options in seen] == [True, None]


def test_stamps_do_not_follow_a_step_of_the_wall_clock(request):
    clock = FakeClock(wall_ns=2_000_000_000_000_000_000)
    with (
        can.Bus(interface="virtual", channel=request.node.name, ignore_config=True) as wire,
        closing(CanAdapter("can1", "virtual", request.node.name, clock=clock)) as adapter,
    ):
        adapter.open()
        wire.send(can.Message(arbitration_id=1, is_extended_id=False))
        until(lambda: adapter.counts.frames == 1)
        clock.step_wall(-3600)
        clock.advance(0.25)
        wire.send(can.Message(arbitration_id=2, is_extended_id=False))
        until(lambda: adapter.counts.frames == 2)
        stamps = adapter.drain().time_ns
    assert stamps[0] == 2_000_000_000_000_000_000
    assert stamps[1] - stamps[0] == 250_000_000


def test_a_full_queue_drops_and_counts(request):
    with (
        can.Bus(interface="virtual", channel=request.node.name, ignore_config=True) as wire,
        closing(CanAdapter("can1", "virtual", request.node.name, queue_frames=5)) as adapter,
    ):
        adapter.open()
        for number in range(8):
            wire.send(can.Message(arbitration_id=number, is_extended_id=False))
        until(lambda: adapter.counts.frames + adapter.counts.dropped == 8)
        assert adapter.drain().can_id.tolist() == [0, 1, 2, 3, 4]
    assert (adapter.counts.frames, adapter.counts.dropped) == (5, 3)


def test_a_silent_bus_is_not_a_silent_reader(virtual):
    first = virtual.heartbeat_ns
    until(lambda: virtual.heartbeat_ns > first)
    assert virtual.state is LinkState.LISTENING
    assert len(virtual.drain()) == 0


def test_a_reader_that_does_not_go_round_shows(request):
    clock = FakeClock()
    held, let_go = threading.Event(), threading.Event()
    adapter = CanAdapter("can1", "virtual", request.node.name, clock=clock)
    with closing(adapter):
        adapter.open()

        def hang(bus):
            held.set()
            let_go.wait(10)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(library_can, "_receive", hang)
            assert held.wait(10)
            clock.advance(2.0)
            assert adapter.state is LinkState.READER_SILENT
        let_go.set()
        until(lambda: adapter.state is LinkState.LISTENING)
    assert adapter.state is LinkState.CLOSED


def test_the_serial_line_adapter_hears(pty):
    with listening(pty) as adapter:
        pty.say(b"t1232ABCD\rT18FEF10080102030405060708\rr7FF0\rR000000014\r")
        until(lambda: adapter.counts.frames == 4)
        batch = adapter.drain()
    assert batch.can_id.tolist() == [0x123, 0x18FEF100, 0x7FF, 1]
    assert batch.length.tolist() == [2, 8, 0, 4]
    assert batch.flags.tolist() == [0, 1, 2, 3]


def test_it_opens_at_once_and_asks_for_silence_unless_told_otherwise(pty):
    with listening(pty) as adapter:
        assert adapter.passive.state is PassiveState.UNPROVED
        assert "unproved" in adapter.identity
    until(lambda: pty.heard.endswith(b"L\rC\r"))
    assert b"S5\r" in pty.heard
    assert b"O" not in pty.heard


def test_acknowledging_is_said(pty):
    with listening(pty, acknowledge=True) as adapter:
        assert adapter.passive.state is PassiveState.ACKNOWLEDGES
        assert "acknowledged by this bench" in adapter.passive.sentence
        adapter.send(0x123, b"\x01")
    until(lambda: pty.heard.endswith(b"O\rt123101\rC\r"))


def test_a_listening_bench_sends_nothing(pty):
    with listening(pty) as adapter, pytest.raises(SetupError, match="listen only"):
        adapter.send(0x123, b"\x01")
    assert b"t123" not in pty.heard


def test_a_garbled_line_is_counted_and_the_reader_goes_on(pty):
    bad = [b"t12", b"tXYZ1AA", b"t1238AB", b"T1F", b"\xff\xfe\x00", b"t1239001122334455667788", b"TFFFFFFFF0", b"t9000"]
    with listening(pty) as adapter:
        for line in bad:
            pty.say(line + b"\rt1232ABCD\r")
        until(lambda: adapter.counts.frames == len(bad))
        assert adapter.counts.garbled == len(bad)
        assert adapter.state is LinkState.LISTENING
        assert set(adapter.drain().can_id.tolist()) == {0x123}


def test_what_the_adapter_says_of_itself_is_no_frame(pty):
    with listening(pty) as adapter:
        pty.say(b"\r\r\aV1013\rz\rt1230\r")
        until(lambda: adapter.counts.frames == 1)
        assert adapter.counts.garbled == 0


def test_unplugging_is_link_lost_as_data_and_closing_is_clean(pty):
    with listening(pty) as adapter:
        pty.say(b"t1230\r")
        until(lambda: adapter.counts.frames == 1)
        pty.unplug()
        until(lambda: adapter.state is LinkState.LINK_LOST)
        assert adapter.why
        assert len(adapter.drain()) == 1
    adapter.close()


def test_over_tcp_it_hears_and_notices_the_end():
    with TcpLines({}) as server:
        adapter = CanAdapter("can1", "slcan", f"socket://127.0.0.1:{server.port}", 250000)
        with closing(adapter):
            adapter.open()
            server.say(b"t1232ABCD\r" * 20)
            until(lambda: adapter.counts.frames == 20)
            server.hang_up()
            until(lambda: adapter.state is LinkState.LINK_LOST)
    assert adapter.why


def test_a_port_that_comes_back_is_opened_again_by_its_stable_name(pty, tmp_path):
    name = tmp_path / "by-id-of-the-adapter"
    with Pty() as first:
        name.symlink_to(first.name)
        adapter = CanAdapter("can1", "slcan", str(name), 250000)
        with closing(adapter):
            adapter.open()
            first.say(b"t1230\rt12")
            until(lambda: adapter.counts.frames == 1)
            first.unplug()
            until(lambda: adapter.state is LinkState.LINK_LOST)
            assert adapter.outages[0].end_ns is None
            name.unlink()
            name.symlink_to(pty.name)
            until(lambda: adapter.state is LinkState.LISTENING)
            pty.say(b"34\rt1240\r")
            until(lambda: adapter.counts.frames == 2)
            batch = adapter.drain()
            (outage,) = adapter.outages
    # what was cut off by the outage is no frame, and no half of one
    assert batch.can_id.tolist() == [0x123, 0x124]
    assert adapter.counts.garbled == 2
    assert outage.end_ns is not None
    assert batch.time_ns[0] <= outage.start_ns < outage.end_ns <= batch.time_ns[1]
    assert outage.why


def test_the_port_is_ours_alone(pty):
    with listening(pty), pytest.raises(SetupError, match="in use"):
        open_port(pty.name)
    with closing(open_port(pty.name)), pytest.raises(SetupError, match="in use"):
        listening(pty)


@pytest.mark.parametrize(
    ("interface", "channel", "bitrate", "text"),
    [
        ("slcan", "/dev/no-such-port", 250000, "is not there"),
        ("slcan", "", 250000, "is not there|serial port"),
        ("slcan", "socket://127.0.0.1:1", 250000, "nobody listens"),
        ("no such interface", "x", None, "can't be used"),
        ("virtual", None, -1, None),
    ],
)
def test_what_can_not_be_opened_is_said_in_words(interface, channel, bitrate, text):
    adapter = CanAdapter("can1", interface, channel or "x", bitrate)
    if text is None:
        with closing(adapter):
            adapter.open()
        return
    with pytest.raises(SetupError, match=text) as caught:
        adapter.open()
    assert caught.value.where
    assert caught.value.hint


def test_a_bit_rate_that_the_interface_does_not_have(pty):
    adapter = CanAdapter("can1", "slcan", pty.name, 123456)
    with pytest.raises(SetupError, match="no bit rate of 123456"):
        adapter.open()
    with closing(open_port(pty.name)):
        pass  # and the port is free again


def test_a_rate_that_was_only_configured_is_called_that(pty):
    assert "250000 bit/s as configured" in CanAdapter("can1", "slcan", pty.name, 250000).identity


def test_error_frames_are_claimed_only_where_known():
    assert not facts("slcan").error_frames
    assert facts("socketcan").error_frames
    unknown = facts("anything else")
    assert not unknown.error_frames
    assert unknown.silent.state is PassiveState.UNPROVED
    assert "not reported by this adapter" in CanAdapter("can1", "slcan", "x").identity
