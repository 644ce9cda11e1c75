"""Logs of every form: what python-can writes is read back, and nothing that is bad ends the read."""

from __future__ import annotations

import gzip
import sqlite3
from pathlib import Path
from typing import Any

import can
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.capture import can_text
from benchcheck.capture.logs import form_of, open_line, open_recording
from benchcheck.capture.recording import LineChunk, Recording
from benchcheck.words.errors import InputError
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameBatch, FrameFlag

EPOCH = 1_410_714_882
# (stamp in microseconds after EPOCH, channel, identifier, extended, remote, data or length)
FRAMES: list[tuple[int, int, int, bool, bool, bytes | int]] = [
    (622_188, 0, 0x09F80102, True, False, bytes.fromhex("36729A16021AB80D")),
    (697_169, 0, 0x123, False, False, b"\x01\x02"),
    (722_163, 0, 0x7FF, False, False, b""),
    (800_000, 0, 0x321, False, True, 4),
    (900_001, 0, 0x1FFFFFFF, True, False, b"\xff"),
]


def write(path: Path, frames: list[tuple[int, int, int, bool, bool, bytes | int]] = FRAMES) -> Path:
    with can.Logger(str(path)) as logger:
        for micro, channel, can_id, extended, remote, data in frames:
            logger(
                can.Message(
                    timestamp=EPOCH + micro / 1e6,
                    channel=channel,
                    arbitration_id=can_id,
                    is_extended_id=extended,
                    is_remote_frame=remote,
                    dlc=data if isinstance(data, int) else len(data),
                    data=None if isinstance(data, int) else data,
                )
            )
    return path


def read(path: Path) -> tuple[list[tuple[int, int, int, bytes | int]], Recording]:
    """(time_ns, identifier, flags, data or the length a remote frame asks for)"""
    rows: list[tuple[int, int, int, bytes | int]] = []
    with open_recording(path) as recording:
        for item in recording:
            assert isinstance(item, FrameBatch)
            for k in range(len(item)):
                flags, length = int(item.flags[k]), int(item.length[k])
                data = length if flags & FrameFlag.REMOTE else bytes(item.data[k][:length])
                rows.append((int(item.time_ns[k]), int(item.can_id[k]), flags, data))
        return rows, recording


NO_REMOTE = [frame for frame in FRAMES if not frame[4]]


def expected(relative: bool = False, lost_length: bool = False) -> list[tuple[int, int, int, bytes | int]]:
    """`lost_length`: python-can's writer leaves out the length that a remote frame asks for."""
    start = FRAMES[0][0] if relative else -EPOCH * 1_000_000
    return [
        ((micro - start) * 1000, can_id, int(extended) | 2 * int(remote), 0 if remote and lost_length else data)
        for micro, _, can_id, extended, remote, data in FRAMES
    ]


@pytest.mark.parametrize("suffix", [".log", ".csv", ".db", ".blf", ".log.gz", ".csv.gz"])
def test_what_python_can_writes_is_read_back(tmp_path: Path, suffix: str) -> None:
    # reference library: python-can's own writers
    rows, recording = read(write(tmp_path / f"a{suffix}"))
    wanted = expected(lost_length=".log" in suffix)
    assert [row[1:] for row in rows] == [row[1:] for row in wanted]
    # python-can's writer of the .blf form takes nanoseconds off a float that steps by 238 ns: that is what stands there
    slack = 240 if suffix == ".blf" else 0
    assert [row[0] for row in rows] == pytest.approx([row[0] for row in wanted], rel=0, abs=slack)
    assert (recording.bad_records, recording.truncated) == (0, False)


@pytest.mark.parametrize("suffix", [".asc", ".asc.gz"])
def test_asc_is_read_back(tmp_path: Path, suffix: str) -> None:
    # this form's stamps count from the start of the log
    rows, recording = read(write(tmp_path / f"a{suffix}"))
    assert rows == expected(relative=True)
    assert recording.bad_records == 0


def test_trc_is_read_back(tmp_path: Path) -> None:
    # milliseconds with three decimals, on a start time that is a float of days: good to the microsecond or two
    rows, recording = read(write(tmp_path / "a.trc", NO_REMOTE))  # python-can writes no remote frames in this form
    wanted = [row for row in expected() if not row[2] & FrameFlag.REMOTE]
    assert [row[1:] for row in rows] == [row[1:] for row in wanted]
    assert [row[0] - rows[0][0] for row in rows] == pytest.approx([row[0] - wanted[0][0] for row in wanted], abs=2000)
    assert recording.bad_records == 0


@pytest.mark.parametrize("suffix", [".log", ".asc", ".blf"])
def test_fd_frames_are_read_back(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"a{suffix}"
    data = bytes(range(12))
    with can.Logger(str(path)) as logger:
        for brs, esi in ((True, False), (False, True)):
            logger(
                can.Message(
                    timestamp=EPOCH + 0.5,
                    channel=0,
                    arbitration_id=0x5AA,
                    is_extended_id=False,
                    is_fd=True,
                    bitrate_switch=brs,
                    error_state_indicator=esi,
                    dlc=12,
                    data=data,
                )
            )
    rows, recording = read(path)
    assert [row[1:] for row in rows] == [
        (0x5AA, FrameFlag.FD | FrameFlag.BRS, data),
        (0x5AA, FrameFlag.FD | FrameFlag.ESI, data),
    ]
    assert recording.bad_records == 0


@pytest.mark.parametrize("suffix", [".log", ".asc", ".csv", ".trc"])
def test_junk_between_the_lines_loses_no_frame(tmp_path: Path, suffix: str) -> None:
    path = write(tmp_path / f"a{suffix}", NO_REMOTE)
    lines = path.read_text().splitlines()
    # what is no frame stays where it is: header and ending of some forms
    frames = [line for line in lines if any(f"{f[2]:X}" in line.upper() for f in NO_REMOTE)]
    assert len(frames) == 4
    out = []
    for line in lines:
        if line in frames:
            out += ["", "; a comment", "// another", "garbage \x1b[31m \x00 here", line[: len(line) // 2], line]
        else:
            out.append(line)
    path.write_text("\n".join(out) + "\n")
    rows, recording = read(path)
    assert [row[1:] for row in rows] == [row[1:] for row in expected() if not row[2] & FrameFlag.REMOTE]
    assert recording.skipped_lines >= 12
    assert recording.bad_records + recording.skipped_lines >= 20
    assert recording.bad_records >= 4


def test_lengths_that_disagree_with_the_data_are_bad(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(
        "timestamp,arbitration_id,extended,remote,error,dlc,data\n"
        "1.5,0x123,0,0,0,8,AQI=\n"  # 8 said, 2 there
        "1.6,0x123,0,0,0,2,AQI=\n"
        "1.7,0x1123,0,0,0,2,AQI=\n"  # beyond 11 bits
        "nan,0x123,0,0,0,2,AQI=\n"
        "1e300,0x123,0,0,0,2,AQI=\n"
    )
    (tmp_path / "b.asc").write_text(
        "base hex  timestamps absolute\nno internal events logged\n"
        "   0.100000 1  123             Rx   d 8 01 02\n"
        "   0.200000 1  123             Rx   d 2 01 02\n"
        "   0.300000 1  923             Rx   d 2 01 02\n"
        "   0.400000 1  12\n"
        "   0.500000 1  Statistic: D 0 R 0 XD 0 XR 0 E 0 O 0 B 0.00%\n"
    )
    for name, bad in (("a.csv", 4), ("b.asc", 3)):
        rows, recording = read(tmp_path / name)
        assert [row[1] for row in rows] == [0x123]
        assert recording.bad_records == bad


def test_asc_in_decimal(tmp_path: Path) -> None:
    (tmp_path / "a.asc").write_text(
        "date Mon Sep 30 03:06:13.191 pm 2017\nbase dec  timestamps absolute\nno internal events logged\n"
        "   0.100000 1  291             Rx   d 2 16 255\n"
    )
    rows, recording = read(tmp_path / "a.asc")
    assert rows == [(100_000_000, 0x123, 0, b"\x10\xff")]
    assert recording.buses[0].name == "1"


def test_a_long_length_code_of_a_classic_frame(tmp_path: Path) -> None:
    (tmp_path / "a.asc").write_text("   0.100000 1  123             Rx   d d 01 02 03 04 05 06 07 08\n")
    rows, _ = read(tmp_path / "a.asc")
    assert rows == [(100_000_000, 0x123, 13 << RAW_DLC_SHIFT, bytes(range(1, 9)))]


def test_error_frames_are_told_from_frames(tmp_path: Path) -> None:
    for suffix in (".log", ".csv", ".blf", ".asc", ".db"):
        path = tmp_path / f"a{suffix}"
        with can.Logger(str(path)) as logger:
            logger(can.Message(timestamp=EPOCH, channel=0, is_error_frame=True))
        rows, recording = read(path)
        assert len(rows) == 1, suffix
        assert rows[0][2] & FrameFlag.ERROR
        assert recording.bad_records == 0


def test_a_cut_binary_log_is_read_up_to_the_damage(tmp_path: Path) -> None:
    many = [(k, 0, 0x100 + k % 7, False, False, bytes([k % 251] * 8)) for k in range(20_000)]
    path = write(tmp_path / "a.blf", many)
    whole, recording = read(path)
    assert len(whole) == 20_000
    assert not recording.truncated
    data = path.read_bytes()
    (tmp_path / "cut.blf").write_bytes(data[: len(data) // 2])
    rows, recording = read(tmp_path / "cut.blf")
    assert 0 < len(rows) < 20_000
    assert rows == whole[: len(rows)]
    assert recording.truncated
    assert recording.bad_records == 1
    (tmp_path / "hurt.blf").write_bytes(data[: len(data) // 2] + b"\0" * 300 + data[len(data) // 2 + 300 :])
    rows, recording = read(tmp_path / "hurt.blf")
    assert rows == whole[: len(rows)]
    assert recording.truncated


def test_a_cut_table_is_read_up_to_the_damage(tmp_path: Path) -> None:
    many = [(k, 0, 0x100, False, False, bytes(8)) for k in range(3_000)]
    path = write(tmp_path / "a.db", many)
    data = path.read_bytes()
    (tmp_path / "cut.db").write_bytes(data[: len(data) // 2])
    rows, recording = read(tmp_path / "cut.db")
    assert len(rows) < 3_000
    assert recording.truncated
    assert recording.notes


def test_a_table_is_opened_for_reading_only(tmp_path: Path) -> None:
    path = tmp_path / "a.db"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE other (x)")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(InputError, match="no log of this form"):
        read(path)
    assert path.read_bytes() == before


def test_a_cut_packed_log_is_read_up_to_the_damage(tmp_path: Path) -> None:
    text = b"".join(b"(%d.%06d) can0 123#%08X\n" % (EPOCH, k, k * 2654435761 % 2**32) for k in range(5000))
    data = gzip.compress(text)
    (tmp_path / "a.log.gz").write_bytes(data[: len(data) // 2])
    rows, recording = read(tmp_path / "a.log.gz")
    assert 2000 < len(rows) < 3000
    assert recording.truncated
    # damage in the middle, and a short file whose end is missing: all that can be unpacked is there
    (tmp_path / "b.log.gz").write_bytes(data[:20_000] + b"\xff" * 50 + data[20_050:])
    rows, recording = read(tmp_path / "b.log.gz")
    assert len(rows) > 1000
    assert recording.truncated
    (tmp_path / "c.log.gz").write_bytes(gzip.compress(b"(1.0) can0 123#00\n" * 20)[:-10])
    rows, recording = read(tmp_path / "c.log.gz")
    assert len(rows) >= 15
    assert recording.truncated


def test_packed_files_joined_end_to_end(tmp_path: Path) -> None:
    part = gzip.compress(b"(1.0) can0 123#00\n" * 3000)
    (tmp_path / "a.log.gz").write_bytes(part + part)
    rows, recording = read(tmp_path / "a.log.gz")
    assert len(rows) == 6000
    assert not recording.truncated


@pytest.mark.parametrize(
    ("name", "content", "text"),
    [
        ("none.log", None, "no such file"),
        ("empty.log", b"", "is empty"),
        ("empty.blf", b"", "is empty"),
        ("a.xyz", b"hello", "has a form that can't be read"),
        ("a", b"hello", "no suffix"),
        ("a.mf4", b"hello", "has a form that can't be read"),
        ("a.log", bytes(range(32)) * 20, "binary data"),
        ("a.blf", b"garbage" * 100, "no log of this form"),
        ("a.db", b"garbage" * 100, "no log of this form"),
        ("a.log.gz", b"not packed", "is not packed"),
        ("a.blf.gz", b"not packed at all", "is not packed"),
        ("a.trc.gz", b"", "is empty"),
        ("a.db.gz", b"not packed at all", "can't be read packed"),
    ],
)
def test_what_cannot_be_read_says_why(tmp_path: Path, name: str, content: bytes | None, text: str) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=text) as caught:
        read(tmp_path / name)
    assert caught.value.exit_code == 2
    assert caught.value.where == str(tmp_path / name)
    assert caught.value.hint


def test_a_folder_is_no_recording(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="folder"):
        open_recording(tmp_path)


def test_a_line_is_read_in_chunks(tmp_path: Path) -> None:
    data = bytes(range(256)) * 1000
    (tmp_path / "a.nmea").write_bytes(data)
    (tmp_path / "a.nmea.gz").write_bytes(gzip.compress(data))
    for name in ("a.nmea", "a.nmea.gz"):
        with open_line(tmp_path / name, "nmea0183") as recording:
            chunks = [item for item in recording if isinstance(item, LineChunk)]
        assert b"".join(chunk.data for chunk in chunks) == data
        assert recording.lines[0].protocol == "nmea0183"


def test_form_of() -> None:
    assert form_of(Path("x/a.LOG.gz")) == ".log"
    assert form_of(Path("a.b.Blf")) == ".blf"
    assert form_of(Path("a")) == ""


def text(line: str) -> Any:
    return can_text.parse_line(line.encode())


def test_stamps_are_exact_to_the_nanosecond() -> None:
    # floats of this size step by 238 ns
    assert text("(1410714882.622188001) can0 123#00").time_ns == 1410714882622188001
    assert text("(1410714882.000000009) can0 123#00").time_ns == 1410714882000000009
    assert text("(0.1) can0 123#00").time_ns == 100_000_000
    assert text("(7) can0 123#00").time_ns == 7_000_000_000
    assert text("(0.1234567899) can0 123#00").time_ns == 123_456_789


@pytest.mark.parametrize(
    ("line", "can_id", "flags", "length", "data"),
    [
        ("(1.0) can0 7FF#", 0x7FF, 0, 0, b""),
        ("(1.0) can0 000007FF#", 0x7FF, 1, 0, b""),
        ("(1.0) vcan0 123#DEADBEEF", 0x123, 0, 4, b"\xde\xad\xbe\xef"),
        ("(1.0) vcan0 123#deadbeef T", 0x123, 64, 4, b"\xde\xad\xbe\xef"),
        ("(1.0) vcan0 123#DE R", 0x123, 0, 1, b"\xde"),
        ("(1.0) can0 123#R", 0x123, 2, 0, b""),
        ("(1.0) can0 123#R8", 0x123, 2, 8, b""),
        ("(1.0) can0 123##1AABB", 0x123, 8 | 16, 2, b"\xaa\xbb"),
        ("(1.0) can0 123##2", 0x123, 8 | 32, 0, b""),
        ("(1.0) can0 20000080#0004000000000000", 0x80, 4, 8, b"\0\4" + bytes(6)),
        ("(1.0) can0 123#0011223344556677_B", 0x123, 11 << 8, 8, bytes.fromhex("0011223344556677")),
        ("  (1.0)\tcan0   123#00 \r", 0x123, 0, 1, b"\0"),
    ],
)
def test_lines_that_are_frames(line: str, can_id: int, flags: int, length: int, data: bytes) -> None:
    frame = text(line)
    assert (frame.can_id, frame.flags, frame.length, frame.data) == (can_id, flags, length, data)


@pytest.mark.parametrize("line", ["", "   ", "# comment", "; comment", "// comment"])
def test_lines_that_are_passed_over(line: str) -> None:
    assert text(line) is can_text.LineKind.SKIPPED


@pytest.mark.parametrize(
    "line",
    [
        "hello",
        "(1.0) can0 123",
        "(1.0) can0 800#00",
        "(1.0) can0 12#00",
        "(1.0) can0 1234#00",
        "(1.0) can0 8000000F#00",
        "(1.0) can0 123#0",
        "(1.0) can0 123#0G",
        "(1.0) can0 123#001122334455667788",
        "(1.0) can0 123#R9",
        "(1.0) can0 123#RX",
        "(1.0) can0 123##",
        "(1.0) can0 123##1AABBCCDDEEFF001122",
        "(1.0) can0 123#0011223344556677_8",
        "(x) can0 123#00",
        "(-1.0) can0 123#00",
        "(999999999999.0) can0 123#00",
        "(1.0) can0 123#00 R extra",
        "(1.0) can0 \x00\x01#00",
    ],
)
def test_lines_that_are_bad(line: str) -> None:
    assert text(line) is can_text.LineKind.BAD


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=80))
def test_no_line_raises(line: bytes) -> None:
    can_text.parse_line(line)
    can_text.parse_line(b"(1.0) can0 123#" + line)


def test_channel_names_and_their_order(tmp_path: Path) -> None:
    (tmp_path / "a.log").write_bytes(b"(1.0) can1 123#00\n(1.1) c\x1b[31m\xff 123#00\n(1.2) can1 123#00\n")
    _, recording = read(tmp_path / "a.log")
    assert [bus.name for bus in recording.buses] == ["can1", "c\x1b[31m\\xff"]


def test_a_last_line_without_end_is_noted(tmp_path: Path) -> None:
    (tmp_path / "a.log").write_text("(1.0) can0 123#0011\n(1.1) can0 123#00")
    rows, recording = read(tmp_path / "a.log")
    assert len(rows) == 2
    assert "cut short" in recording.notes[0]
