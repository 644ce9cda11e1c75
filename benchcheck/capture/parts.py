"""A capture that was written in parts (rotating_writer), read as one."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from benchcheck.capture.pcapng_reader import CaptureReader
from benchcheck.capture.recording import Recording, Traffic


def part_path(path: Path, number: int) -> Path:
    """Where part `number` (from 1 on) of the capture called `path` is."""
    return path.with_name(f"{path.stem}.{number:04}{path.suffix}")


def parts_of(path: Path) -> list[Path]:
    """The parts of the capture called `path`, in order; none where it is a file of its own, or has no parts."""
    if path.suffix.lower() != ".pcapng" or path.exists():
        return []
    first = f"{path.stem}."
    found = [
        part
        for part in path.parent.glob("*" + path.suffix)
        if part.stem.startswith(first) and len(number := part.stem[len(first) :]) == 4 and number.isdecimal()
    ]
    return sorted(found)


class CaptureParts(Recording):
    """The parts of one capture, one after the other. Buses and lines of one name are one; counts add up."""

    def __init__(self, parts: list[Path], *, gathered: bool = False) -> None:
        super().__init__()
        self._parts = parts
        self._gathered = gathered

    def close(self) -> None:
        """Each part is open only while it is read."""

    def __iter__(self) -> Iterator[Traffic]:
        before = 0
        for path in self._parts:
            number = int(path.stem[-4:])
            if number != before + 1:
                missing = f"{before + 1}" if number == before + 2 else f"{before + 1} to {number - 1}"
                self.notes.append(f"part {missing} is missing: nothing is known of its time")
            before = number
            with CaptureReader(path, gathered=self._gathered) as reader:
                reader.buses, reader.lines = self.buses, self.lines
                yield from reader
                self.bad_records += reader.bad_records
                self.dropped_frames += reader.dropped_frames
                self.truncated |= reader.truncated
                self.notes += [f"{path.name}: {note}" for note in reader.notes]
