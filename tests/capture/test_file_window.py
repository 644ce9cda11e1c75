"""Pieces of a file: its words, and an end in words where the file or its medium goes away."""

from __future__ import annotations

import errno
from pathlib import Path

import numpy as np
import pytest
from frame_rows import batch_of
from test_capture_reader import frames_of, mixed_capture, random_rows

from benchcheck.capture import file_window
from benchcheck.capture.file_window import FileWindow
from benchcheck.capture.pcapng_reader import CaptureReader
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.words.frames import FrameBatch


@pytest.mark.parametrize("order", ["<", ">"])
def test_any_piece_has_the_words_of_the_file(tmp_path: Path, order: str, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a"
    data = np.random.default_rng(1).integers(0, 256, 40_003, np.uint8).tobytes()
    path.write_bytes(data)
    monkeypatch.setattr(file_window, "WINDOW_BYTES", 8192)
    window = FileWindow(path)
    window.order = order
    for offset in (0, 4, 4096, 4100, 12345, 39_000, 39_998, 40_000, 40_003):
        window.bring(offset)
        count = min(8192, len(data) - offset) // 4
        assert window.words.tolist() == np.frombuffer(data, order + "u4", count, offset).tolist()
        assert window.words.dtype == np.uint32
        assert window.start == offset
    window.close()


def test_batches_outlive_the_piece_that_they_came_from(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.pcapng"
    mixed_capture(path)
    whole, _, _ = frames_of(path)
    monkeypatch.setattr(file_window, "WINDOW_BYTES", 4096)
    with CaptureReader(path) as reader:
        kept = [item for item in reader if isinstance(item, FrameBatch)]
    assert [int(stamp) for batch in kept for stamp in batch.time_ns] == [row[0] for row in whole]
    assert [int(can_id) for batch in kept for can_id in batch.can_id] == [row[2] for row in whole]


def long_capture(path: Path) -> None:
    batch = batch_of(random_rows(1, 1000, fd=False)[0])
    with CaptureWriter(path) as writer:
        bus = writer.add_bus("can1")
        for _ in range(200):
            writer.write_frames(bus, batch)


def test_a_file_that_is_cut_while_it_is_read_ends_in_words(tmp_path: Path) -> None:
    path = tmp_path / "a.pcapng"
    long_capture(path)
    with CaptureReader(path) as reader:
        items = iter(reader)
        next(items)
        with path.open("rb+") as file:
            file.truncate(4_000_000)
        list(items)
    assert reader.truncated
    assert "cut to 4,000,000 bytes while it was read" in reader.notes[0]
    assert reader.notes[0].startswith("damaged from byte 39999")


def test_a_file_that_is_cut_after_its_size_was_looked_at(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(bytes(200_000))
    window = FileWindow(path)
    with path.open("rb+") as file:
        file.truncate(8_000)
    window._look_for_size = lambda: None  # type: ignore[method-assign]
    window.bring(4096)
    assert len(window.words) == (8_000 - 4096) // 4  # what is there
    window.close()


def test_a_medium_that_is_gone_ends_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.pcapng"
    long_capture(path)

    def gone(*_: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    with CaptureReader(path) as reader:
        items = iter(reader)
        first = next(items)
        monkeypatch.setattr(FileWindow, "bring", gone)
        rest = list(items)
    assert isinstance(first, FrameBatch)
    assert len(first) + sum(len(item) for item in rest if isinstance(item, FrameBatch)) < 200_000
    assert reader.truncated
    assert reader.notes[0].startswith("can't be read from byte ")
    assert "Input/output error" in reader.notes[0]
