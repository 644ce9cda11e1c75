"""A capture in parts: `name.0001.pcapng`, `name.0002.pcapng` ... by size and by time, each readable by itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from benchcheck.capture.parts import part_path, parts_of
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.words.errors import InputError, SetupError
from benchcheck.words.frames import FrameBatch
from benchcheck.words.recorder_gap import RecorderGap

MOST_PARTS = 9999


class RotatingWriter:
    """Writes like a CaptureWriter, and goes on in the next part where one is full or old.

    max_bytes    a part that holds as many is full; the write that fills it stays whole, so it may be a little longer
    max_ns       a part is old when so much lies between its first stamp and the one that comes, by the capture's own stamps
    first_alone  a capture that stays in one part is called `path`; it gets its number when the second part begins

    Every part begins with its own section header and all interfaces, under the numbers that they have in every part. It
    ends with a mark `continues` and the next one begins with a mark `continued`; both name the other part. Counts of
    received and dropped are those of the part, so that the parts' counts add up to the capture's.
    """

    def __init__(
        self,
        path: Path,
        *,
        max_bytes: int | None = None,
        max_ns: int | None = None,
        hardware: str = "",
        first_alone: bool = False,
    ) -> None:
        if (max_bytes is not None and max_bytes <= 0) or (max_ns is not None and max_ns <= 0):
            raise ValueError("a part has some size and takes some time")
        self.path = path
        self.parts: list[Path] = []
        self._max_bytes = max_bytes
        self._max_ns = max_ns
        self._hardware = hardware
        self._first_alone = first_alone
        if first_alone and parts_of(path):
            raise InputError(
                "is there already, in parts", where=str(parts_of(path)[0]), hint="Name a new file; captures stay."
            )
        self._interfaces: list[Callable[[CaptureWriter], int]] = []
        self._dropped: dict[int, int] = {}
        self._dropped_before: dict[int, int] = {}  # in earlier parts
        self._first_ns: int | None = None
        self._part = self._open()

    def add_bus(self, name: str, bitrate: int | None = None, data_bitrate: int | None = None) -> int:
        """As CaptureWriter.add_bus; the number is good in every part."""
        return self._add(lambda part: part.add_bus(name, bitrate, data_bitrate))

    def add_line(self, name: str, protocol: str = "", baud: int | None = None) -> int:
        """As CaptureWriter.add_line."""
        return self._add(lambda part: part.add_line(name, protocol, baud))

    def write_frames(self, interface: int, batch: FrameBatch) -> None:
        if len(batch):
            self._go_on(int(batch.time_ns[0])).write_frames(interface, batch)

    def write_bytes(
        self, interface: int, time_ns: int, data: bytes, *, sent: bool = False, framing_errors: int | None = None
    ) -> None:
        self._go_on(time_ns).write_bytes(interface, time_ns, data, sent=sent, framing_errors=framing_errors)

    def mark(self, time_ns: int, kind: str, body: Mapping[str, object] | None = None) -> None:
        self._go_on(time_ns).mark(time_ns, kind, body)

    def gap(self, gap: RecorderGap) -> None:
        """As CaptureWriter.gap."""
        self._go_on(gap.end_ns).gap(gap)

    def dropped(self, interface: int, total: int) -> None:
        """`total` dropped of this interface since the capture began."""
        self._dropped[interface] = max(total, self._dropped[interface])
        self._part.dropped(interface, self._dropped[interface] - self._dropped_before[interface])

    def keep_up(self, now_ns: int) -> None:
        """As CaptureWriter.keep_up."""
        self._part.keep_up(now_ns)

    def sync(self) -> None:
        self._part.sync()

    def close(self) -> None:
        self._part.close()

    def __enter__(self) -> RotatingWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _open(self) -> CaptureWriter:
        number = len(self.parts) + 1
        is_alone = self._first_alone and number == 1
        path = self.path if is_alone else part_path(self.path, number)
        comment = "" if is_alone else f"part {number} of {self.path.stem}"
        part = CaptureWriter(path, hardware=self._hardware, comment=comment)
        self.parts.append(path)
        part.add_marks()
        for add in self._interfaces:
            add(part)
        return part

    def _add(self, add: Callable[[CaptureWriter], int]) -> int:
        self._interfaces.append(add)
        interface = add(self._part)
        self._dropped[interface] = self._dropped_before[interface] = 0
        return interface

    def _go_on(self, time_ns: int) -> CaptureWriter:
        """The part into which what comes at `time_ns` goes."""
        if self._first_ns is None:
            self._first_ns = time_ns
        full = self._max_bytes is not None and self._part.bytes >= self._max_bytes
        old = self._max_ns is not None and time_ns - self._first_ns >= self._max_ns
        if (full or old) and len(self.parts) < MOST_PARTS:
            self._turn(time_ns)
        return self._part

    def _turn(self, time_ns: int) -> None:
        """Close this part and begin the next."""
        before = self._part
        following = part_path(self.path, len(self.parts) + 1)
        before.mark(time_ns if before.last_ns is None else before.last_ns, "continues", {"next": following.name})
        before.close()
        if before.path == self.path:
            self._give_number(before)
        self._dropped_before = dict(self._dropped)
        self._part = self._open()
        self._part.mark(time_ns, "continued", {"part": len(self.parts), "previous": before.path.name})
        self._first_ns = time_ns

    def _give_number(self, first: CaptureWriter) -> None:
        numbered = part_path(self.path, 1)
        try:
            first.path = self.parts[0] = first.path.rename(numbered)
        except OSError as error:
            raise SetupError(
                f"the capture's first part can't be renamed: {error.strerror}",
                where=str(numbered),
                hint="What was written before can be read.",
            ) from error
