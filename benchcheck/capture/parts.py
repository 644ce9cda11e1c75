"""A capture that was written in parts (rotating_writer), read as one."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from benchcheck.capture.pcapng_reader import CaptureReader
from benchcheck.capture.recording import Mark, Recording, Traffic
from benchcheck.words.recorder_gap import RecorderGap


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
    """The parts of one capture, one after the other. Buses and lines of one name are one; counts add up.

    The time between two parts that don't follow one another is a gap of the recorder, as is what was lost at the end of a
    part that is damaged.
    """

    def __init__(self, parts: list[Path], *, gathered: bool = False) -> None:
        super().__init__()
        self._parts = parts
        self._gathered = gathered
        self._lost = ""  # what is lacking before the next part

    def close(self) -> None:
        """Each part is open only while it is read."""

    def __iter__(self) -> Iterator[Traffic]:
        before = 0
        following = ""
        for path in self._parts:
            number = int(path.stem[-4:])
            if number != before + 1:
                missing = f"{before + 1}" if number == before + 2 else f"{before + 1} to {number - 1}"
                self._lose(f"part {missing} is missing")
                self.notes.append(f"part {missing} is missing: nothing is known of its time")
            before = number
            reader = CaptureReader(path, gathered=self._gathered)
            with reader:
                reader.buses, reader.lines, reader.recorder_gaps = self.buses, self.lines, self.recorder_gaps
                for item in reader:
                    self._found(reader)
                    if isinstance(item, Mark) and item.kind == "continues":
                        following = str(item.body.get("next"))
                    yield item
                self._found(reader)
                self.last_ns = reader.last_ns if reader.last_ns is not None else self.last_ns
                self.bad_records += reader.bad_records
                self.dropped_frames += reader.dropped_frames
                self.truncated |= reader.truncated
                self.notes += [f"{path.name}: {note}" for note in reader.notes]
                if reader.truncated:
                    self._lose(f"{path.name} is damaged")
        if following > self._parts[-1].name:
            self.notes.append(f"{following} is missing, where the capture goes on: nothing is known of its time")

    def _lose(self, why: str) -> None:
        self._lost = f"{self._lost}; {why}" if self._lost else why

    def _found(self, reader: CaptureReader) -> None:
        """The first stamp of a part: what is lacking ends there."""
        if reader.first_ns is None:
            return
        if self._lost and self.last_ns is not None and self.last_ns <= reader.first_ns:
            self.recorder_gaps.append(RecorderGap(self.last_ns, reader.first_ns, self._lost))
        self._lost = ""
        self.first_ns = reader.first_ns if self.first_ns is None else self.first_ns
