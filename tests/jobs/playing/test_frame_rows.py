"""Frames one by one, those that are wanted, and as text."""

from __future__ import annotations

from pathlib import Path

import pytest
from frame_rows import Row, batch_of

from benchcheck.capture.logs import open_recording
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.jobs.playing.frame_rows import Wanted, frame_rows, row_text
from benchcheck.jobs.playing.replay import Part
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.frames import FrameFlag

MS = 1_000_000
START = 1_700_000_000_000_000_000


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    first: list[Row] = [
        (START, 0, 0x0C1, 0, b"\x1a\x2b"),
        (START + 10 * MS, 0, 0x0C1, int(FrameFlag.EXTENDED), b"\x01"),
        (START + 20 * MS, 0, 0x7FF, 0, b""),
        (START + 30 * MS, 0, 0x100, int(FrameFlag.ERROR), bytes(8)),
    ]
    second: list[Row] = [(START + 40 * MS, 0, 0x0C1, int(FrameFlag.FD), bytes(12))]
    with CaptureWriter(tmp_path / "c.pcapng") as writer:
        a, b = writer.add_bus("can1", 250_000), writer.add_bus("can\x1b2", 250_000)
        writer.write_frames(a, batch_of(first))
        writer.write_frames(a, batch_of([(START + 35 * MS, 0, 0x200, int(FrameFlag.REMOTE), b"")], [4]))
        writer.write_frames(b, batch_of(second))
    return tmp_path / "c.pcapng"


def texts(path: Path, wanted: Wanted | None = None) -> list[str]:
    with open_recording(path) as recording:
        return [row_text(row) for row in frame_rows(recording, wanted or Wanted())]


def test_frames_as_text(capture: Path) -> None:
    assert texts(capture) == [
        "     0.000000000 s, can1, 0C1 says 1A 2B",
        "     0.010000000 s, can1, 000000C1 says 01",
        "     0.020000000 s, can1, 7FF says nothing",
        "     0.030000000 s, can1, error frame",
        "     0.035000000 s, can1, 200 asks for 4 bytes",
        "     0.040000000 s, can?2, 0C1 FD says" + 12 * " 00",
    ]


@pytest.mark.parametrize(
    ("wanted", "left"),
    [
        (Wanted(Part(0.01, 0.03)), [1, 2]),
        (Wanted(Part(0.035, None)), [4, 5]),
        (Wanted(buses=frozenset({"can1"})), [0, 1, 2, 3, 4]),
        (Wanted(ids=frozenset({IdKey(0x0C1, False)})), [0, 5]),
        (Wanted(ids=frozenset({IdKey(0x0C1, True), IdKey(0x200, False)})), [1, 4]),
        (Wanted(ids=frozenset({IdKey(0x100, False)})), []),  # that of an error frame is none
        (Wanted(ids=frozenset()), []),
    ],
)
def test_only_what_is_wanted(capture: Path, wanted: Wanted, left: list[int]) -> None:
    whole = texts(capture)
    assert texts(capture, wanted) == [whole[place] for place in left]
