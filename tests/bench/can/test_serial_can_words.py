"""What a serial-line CAN adapter says: against python-can's own interface, in any cut, and in the face of garbage."""

from __future__ import annotations

import can
import numpy as np
import pytest
from bench_stand_ins import Pty
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.bench.can.serial_can_words import SerialCanParser, StatusBit, frame_line
from benchcheck.words.frames import FrameBatch, FrameFlag


def rows(batch: FrameBatch) -> list[tuple[int, int, int, bytes]]:
    columns = zip(batch.can_id.tolist(), batch.flags.tolist(), batch.length.tolist(), batch.data, strict=True)
    return [
        (can_id, flags, length, b"" if flags & FrameFlag.REMOTE else data[:length].tobytes())
        for can_id, flags, length, data in columns
    ]


DATA = st.binary(max_size=8)


@st.composite
def frame_lines(draw: st.DrawFn) -> tuple[bytes, tuple[int, int, int, bytes]]:
    extended, remote, data = draw(st.booleans()), draw(st.booleans()), draw(DATA)
    can_id = draw(st.integers(0, 0x1FFF_FFFF if extended else 0x7FF))
    letter = "RT"[not remote] if extended else "rt"[not remote]
    digits = f"{can_id:08X}" if extended else f"{can_id:03x}"
    text = f"{letter}{digits}{len(data)}{'' if remote else data.hex()}{draw(st.sampled_from(['', '', '1A2F']))}\r"
    flags = FrameFlag.EXTENDED * extended | FrameFlag.REMOTE * remote
    return text.encode(), (can_id, int(flags), len(data), b"" if remote else data)


@settings(max_examples=80)
@given(st.lists(frame_lines(), max_size=20), st.data())
def test_any_cut_gives_the_same_frames_with_the_stamps_of_their_ends(
    lines: list[tuple[bytes, tuple[int, int, int, bytes]]], draw: st.DataObject
) -> None:
    text = b"".join(line for line, _ in lines)
    places = sorted(draw.draw(st.lists(st.integers(0, len(text)), max_size=6)))
    pieces = [text[a:b] for a, b in zip([0, *places], [*places, len(text)], strict=True)]
    chunks = list(enumerate(pieces))
    whole, parser = SerialCanParser(), SerialCanParser()
    batches = [parser.feed([chunk]) for chunk in chunks]
    at_once = whole.feed(chunks)
    expected = [row for _, row in lines]
    assert rows(at_once) == expected
    assert [row for batch in batches for row in rows(batch)] == expected
    ends = np.cumsum([len(piece) for piece in pieces])
    stamps = [int(np.searchsorted(ends, end, side="left")) for end in np.cumsum([len(line) for line, _ in lines])]
    # a chunk without bytes ends nothing
    assert at_once.time_ns.tolist() == [next(k for k in range(s, len(ends)) if pieces[k]) for s in stamps]
    assert parser.garbled == whole.garbled == 0


@settings(max_examples=300)
@given(
    st.lists(st.one_of(st.binary(max_size=40), st.text("tTrRdDbBF0189AF\r\a", max_size=60).map(str.encode)), max_size=6)
)
def test_garbage_is_counted_and_never_raised(pieces: list[bytes]) -> None:
    parser = SerialCanParser()
    parser.feed([(0, piece) for piece in pieces])
    good = parser.feed([(1, b"\r"), (2, b"t12316F\r")])
    assert (0x123, 0, 1, b"\x6f") in rows(good)
    for can_id, flags, length, _ in rows(good):
        assert can_id <= (0x1FFF_FFFF if flags & FrameFlag.EXTENDED else 0x7FF)
        assert length <= (64 if flags & FrameFlag.FD else 8)


def test_the_same_frames_as_the_reference_library_makes_of_the_same_bytes() -> None:
    """python-can 4.6, its serial-line interface."""
    random = np.random.default_rng(7)
    text = b""
    for _ in range(200):
        data, extended = random.bytes(int(random.integers(0, 9))), bool(random.integers(0, 2))
        text += frame_line(int(random.integers(0, 1 << (29 if extended else 11))), data, extended=extended)
    text += b"r12F3\rR1ABCDE0F8\rd1239" + b"5A" * 12 + b"\rB18FEF100F" + b"C3" * 64 + b"\r"
    with (
        Pty() as pty,
        can.Bus(interface="slcan", channel=pty.name, ignore_config=True, sleep_after_open=0.0) as bus,
    ):
        theirs = []
        for start in range(0, len(text), 500):
            pty.say(text[start : start + 500])
            while (message := bus.recv(timeout=0.05)) is not None:
                theirs.append(message)
    ours = rows(SerialCanParser().feed([(0, text)]))
    assert len(theirs) == 204
    assert [(m.arbitration_id, m.is_extended_id, m.dlc, bytes(m.data)) for m in theirs] == [
        (can_id, bool(flags & FrameFlag.EXTENDED), length, data) for can_id, flags, length, data in ours
    ]
    assert [(m.is_fd, m.bitrate_switch) for m in theirs] == [
        (bool(flags & FrameFlag.FD), bool(flags & FrameFlag.BRS)) for _, flags, _, _ in ours
    ]


def test_answers_are_no_frames() -> None:
    parser = SerialCanParser()
    assert len(parser.feed([(0, b"\r\r\aV1013\rNBCS1\rz\rZ\rF28\r")])) == 0
    assert (parser.garbled, parser.refusals) == (0, 1)
    assert parser.status == StatusBit.OVERRUN | StatusBit.ERROR_PASSIVE


@pytest.mark.parametrize(
    "line", [b"t12", b"tXYZ1AA", b"t1238AB", b"T1F", b"t9000", b"TFFFFFFFF0", b"t1239001122", b"F0", b"FXY", b"q1"]
)
def test_what_is_no_frame_is_counted(line: bytes) -> None:
    parser = SerialCanParser()
    assert rows(parser.feed([(0, line + b"\rt1230\r")])) == [(0x123, 0, 0, b"")]
    assert parser.garbled == 1


def test_a_line_that_never_ends_takes_no_room() -> None:
    parser = SerialCanParser()
    for _ in range(50):
        parser.feed([(0, b"t1238" + b"A" * 1000)])
    assert len(parser._rest) < 200
    assert rows(parser.feed([(0, b"\rt1230\r")])) == [(0x123, 0, 0, b"")]


def test_what_was_begun_before_a_break_does_not_go_on_behind_it() -> None:
    parser = SerialCanParser()
    parser.feed([(0, b"t1231")])
    parser.break_line()
    assert rows(parser.feed([(1, b"AA\rt1240\r")])) == [(0x124, 0, 0, b"")]
    assert parser.garbled == 2


def test_only_frames_can_be_sent() -> None:
    assert frame_line(0x123, b"\x01", extended=False) == b"t123101\r"
    assert frame_line(0x18FEF100, b"", extended=True) == b"T18FEF1000\r"
    for can_id, data, extended in ((0x800, b"", False), (-1, b"", True), (1, bytes(9), True)):
        with pytest.raises(ValueError, match="no classic frame"):
            frame_line(can_id, data, extended=extended)


@pytest.mark.long
def test_ten_thousand_random_streams() -> None:
    """Fixed seed; half of them made of the signs that lines are made of."""
    random = np.random.default_rng(11)
    signs = np.frombuffer(b"tTrRdDbBFzZVvN0189aAfF\r\r\a\n \x00", np.uint8)
    for number in range(10_000):
        size = int(random.integers(0, 400))
        raw = random.choice(signs, size) if number % 2 else random.integers(0, 256, size, dtype=np.uint8)
        text, parser = raw.tobytes(), SerialCanParser()
        cut = int(random.integers(0, size + 1))
        found = rows(parser.feed([(0, text[:cut])])) + rows(parser.feed([(1, text[cut:])]))
        whole = SerialCanParser()
        assert rows(whole.feed([(0, text)])) == found
        assert (whole.garbled, whole.refusals) == (parser.garbled, parser.refusals)
