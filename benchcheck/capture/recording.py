"""What every recording gives, whatever its form: buses, lines, and their traffic as columns.

A Recording is iterated once: it yields FrameBatch, LineChunk and Mark in file order. `buses` and `lines` fill up while
it is read (a name may turn up late in the file); `bus` in a batch and `line` in a chunk are indices into them. Damage
never ends in an exception: reading stops where the damage begins, and says so in `truncated`, `bad_records`, `notes`.
`recorder_gaps` fills up likewise with the times in which the recorder is known not to have recorded everything.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from benchcheck.words.frames import FD_LENGTHS, FrameBatch, FrameFlag
from benchcheck.words.recorder_gap import RecorderGap

BATCH_FRAMES = 16384
CAPTURE_FRAMES = 65536  # of our own captures, whose frames never are Python objects
CAN_ID_BASE = 0x7FF
CAN_ID_EXTENDED = 0x1FFF_FFFF


@dataclass(slots=True)
class BusInfo:
    """A bus of the recording; rates in bit/s, None where the recording does not say."""

    name: str
    bitrate: int | None = None
    data_bitrate: int | None = None


@dataclass(slots=True)
class LineInfo:
    """A serial line of the recording; protocol is empty where the recording does not say."""

    name: str
    protocol: str = ""
    baud: int | None = None


@dataclass(frozen=True, slots=True)
class LineChunk:
    """Bytes of one line as they were read: `time_ns` is the stamp of the read, `sent` whether this bench sent them.

    framing_errors  how many of them the port took for wrongly framed; None where it can't tell
    """

    line: int
    time_ns: int
    sent: bool
    data: bytes
    framing_errors: int | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that was noted on the recording's clock: `kind` as `power_on`, and what belongs to it."""

    time_ns: int
    kind: str
    body: Mapping[str, object] = field(default_factory=dict)


Traffic = FrameBatch | LineChunk | Mark


class Recording(ABC):
    """A recording that is open for reading. Close it, or use it in a `with`."""

    def __init__(self) -> None:
        self.buses: list[BusInfo] = []
        self.lines: list[LineInfo] = []
        self.bad_records = 0
        self.skipped_lines = 0  # comments, blank lines, headers, events that are no frames
        self.dropped_frames = 0  # as the recorder counted them
        self.truncated = False
        self.notes: list[str] = []
        self.recorder_gaps: list[RecorderGap] = []
        self.first_ns: int | None = None  # the first and the latest stamp in the file's order, where the form can tell
        self.last_ns: int | None = None

    @abstractmethod
    def __iter__(self) -> Iterator[Traffic]: ...

    @abstractmethod
    def close(self) -> None: ...

    def __enter__(self) -> Recording:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def bus_index(self, name: str) -> int:
        """The index of the bus called `name`, which is added if it is new."""
        for index, bus in enumerate(self.buses):
            if bus.name == name:
                return index
        self.buses.append(BusInfo(name))
        return len(self.buses) - 1

    def damaged(self, text: str) -> None:
        """Note that reading stopped here, and why."""
        self.truncated = True
        self.bad_records += 1
        self.notes.append(text)


class FrameRows:
    """Frames gathered one by one, handed out as a FrameBatch."""

    def __init__(self) -> None:
        self._time_ns: list[int] = []
        self._bus: list[int] = []
        self._can_id: list[int] = []
        self._flags: list[int] = []
        self._length: list[int] = []
        self._data: list[bytes] = []

    def __len__(self) -> int:
        return len(self._time_ns)

    def add(self, time_ns: int, bus: int, can_id: int, flags: int, length: int, data: bytes) -> None:
        self._time_ns.append(time_ns)
        self._bus.append(bus)
        self._can_id.append(can_id)
        self._flags.append(flags)
        self._length.append(length)
        self._data.append(data)

    def take(self) -> FrameBatch:
        """What was gathered since the last call."""
        width = 64 if any(len(data) > 8 for data in self._data) else 8
        data = np.frombuffer(b"".join([data.ljust(width, b"\0") for data in self._data]), np.uint8)
        batch = FrameBatch(
            np.array(self._time_ns, np.int64),
            np.array(self._bus, np.uint16),
            np.array(self._can_id, np.uint32),
            np.array(self._flags, np.uint16),
            np.array(self._length, np.uint8),
            data.reshape(-1, width),
        )
        self.__init__()  # type: ignore[misc]
        return batch


def is_sane_stamp(time_ns: int) -> bool:
    """Whether a stamp lies between 1933 and 2116; others are damage, and their differences might overflow 64 bits."""
    return -(1 << 60) <= time_ns <= 1 << 62


def is_sound(can_id: int, flags: int, length: int, data_bytes: int) -> bool:
    """Whether identifier, length and data of a frame can be true together (ISO 11898-1)."""
    if flags & FrameFlag.ERROR:
        return True
    if not 0 <= can_id <= (CAN_ID_EXTENDED if flags & FrameFlag.EXTENDED else CAN_ID_BASE):
        return False
    if flags & FrameFlag.FD:
        return length in FD_LENGTHS and data_bytes == length and not flags & FrameFlag.REMOTE
    if flags & FrameFlag.REMOTE:
        return 0 <= length <= 8 and not data_bytes
    return 0 <= length <= 8 and data_bytes == length
