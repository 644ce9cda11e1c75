"""A recording cut into slices that can be gone to by time, known as far as it was looked through.

The time that counts here is played time: nanoseconds since the first record, never going back. A stamp that lies a
little before an earlier one counts as that one; where the recorder's clock was set back, time goes on as if it had not.

Of a capture a slice is a place in the file, read again whenever it is needed, so that memory does not grow with the
frames; of a log in another form, which can only be read from its beginning, it is the columns themselves.
"""

from __future__ import annotations

from abc import abstractmethod
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

import numpy as np
from numpy.typing import NDArray

from benchcheck.capture.frame_columns import FrameColumns
from benchcheck.capture.recording import FrameRows, LineChunk, Mark, Recording, Traffic
from benchcheck.words.frames import FrameBatch

CLOCK_SET_BACK_NS = 1_000_000_000  # stamps of several adapters may cross by less than this: common practice, no source
GAP_NS = 1_000_000_000  # a second without any frame is told as a gap


@dataclass(frozen=True, slots=True)
class Clock:
    """How far played time has come after so many frames, the first record's stamp, and what is taken off a stamp now."""

    played_ns: int = 0
    first_ns: int | None = None
    zero_ns: int = 0
    frames: int = 0

    def at(self, stamp_ns: int) -> int:
        """The played time of a record that is no frame."""
        return max(stamp_ns - self.zero_ns, 0)

    def begun(self, stamp_ns: int) -> Clock:
        """With the first record's stamp, where there was none yet."""
        return self if self.first_ns is not None else Clock(self.played_ns, stamp_ns, stamp_ns, self.frames)

    def after(self, time_ns: NDArray[np.int64]) -> tuple[NDArray[np.int64], Clock]:
        """The played time of frames with these stamps, and the clock after them."""
        if not len(time_ns):
            return time_ns, self
        begun = self.begun(int(time_ns[0]))
        zero, now, parts, start = begun.zero_ns, self.played_ns, [], 0
        while start < len(time_ns):
            since = time_ns[start:] - zero
            played = np.maximum(np.maximum.accumulate(since), now)
            set_back = np.flatnonzero(since < played - CLOCK_SET_BACK_NS)
            stop = int(set_back[0]) if len(set_back) else len(played)
            if stop:
                parts.append(played[:stop])
                now = int(played[stop - 1])
            start += stop
            if len(set_back):
                zero = int(time_ns[start]) - now
        played = parts[0] if len(parts) == 1 else np.concatenate(parts)
        return played, Clock(now, begun.first_ns, zero, self.frames + len(time_ns))


@dataclass(frozen=True, slots=True)
class Event:
    """Something to go to: a mark, or the beginning of a gap."""

    at_ns: int
    text: str


@dataclass(frozen=True, slots=True)
class Slice:
    """What is known of a slice without reading it: the clock before it and after it, and what happened in it."""

    before: Clock
    after: Clock
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """A slice as read: its frames, and int64[n] their played time, which never goes back."""

    frames: FrameBatch
    played_ns: NDArray[np.int64]


@dataclass(slots=True)
class Found:
    """What one look at the next part of a recording brought, in the order of the file."""

    batches: list[FrameBatch] = field(default_factory=list)
    played: list[NDArray[np.int64]] = field(default_factory=list)
    marks: list[Event] = field(default_factory=list)

    def add(self, item: Traffic, clock: Clock) -> Clock:
        """Take in an item that comes at `clock`; gives the clock after it."""
        if isinstance(item, FrameBatch):
            played, clock = clock.after(item.time_ns)
            if len(item):
                self.batches.append(item)
                self.played.append(played)
            return clock
        clock = clock.begun(item.time_ns)
        if isinstance(item, Mark):
            self.marks.append(Event(clock.at(item.time_ns), f"mark {item.kind}"))
        return clock

    def piece(self) -> Piece:
        if not self.batches:
            return Piece(FrameRows().take(), np.zeros(0, np.int64))
        if len(self.batches) == 1:
            return Piece(self.batches[0], self.played[0])
        columns = FrameColumns()
        for batch in self.batches:
            columns.add(batch, 0, len(batch))
        return Piece(next(columns.take()), np.concatenate(self.played))

    def events(self, before: Clock, piece: Piece) -> tuple[Event, ...]:
        """Marks and gaps, by time; a gap begins just behind the last frame before it."""
        played = piece.played_ns
        if len(played) and before.frames:
            played = np.concatenate((np.array([before.played_ns], np.int64), played))
        found = list(self.marks)
        for k in np.flatnonzero(np.diff(played) >= GAP_NS).tolist():
            length_s = int(played[k + 1] - played[k]) / 1e9
            found.append(Event(int(played[k]) + 1, f"{length_s:.3f} s without a frame"))
        return tuple(sorted(found, key=lambda event: event.at_ns))


class TimeIndex(Recording):
    """A recording that can be gone to by time. `slices` grow by `extend`; `complete`: it was looked through to its end.

    Iterating it looks it through and gives its frames as one batch a slice.
    """

    def __init__(self) -> None:
        super().__init__()
        self.slices: list[Slice] = []
        self.complete = False
        self.clock = Clock()
        self._ends: list[int] = []  # played time at the end of each slice

    def __enter__(self) -> Self:
        return self

    @abstractmethod
    def _look(self) -> Found | None:
        """Look at the next part and remember where it is; None where there is none. Sets `clock` to that after it."""

    @abstractmethod
    def read(self, number: int) -> Piece:
        """The frames of a slice. Raises InputError where the file can't be read any more."""

    def extend(self) -> bool:
        """Look at one more slice; False where the recording has ended."""
        if self.complete:
            return False
        before = self.clock
        found = self._look()
        if found is None:
            self.complete = True
            return False
        self.first_ns = self.clock.first_ns
        self.slices.append(Slice(before, self.clock, found.events(before, found.piece())))
        self._ends.append(self.clock.played_ns)
        return True

    @property
    def end_ns(self) -> int:
        """The played time of the last frame, as far as it was looked through."""
        return self.clock.played_ns

    def find(self, at_ns: int) -> int:
        """The number of the first slice that may hold a frame at `at_ns` or later; looks on as far as it must."""
        while self.end_ns < at_ns and self.extend():
            pass
        return bisect_left(self._ends, at_ns)

    def next_event(self, after_ns: int) -> Event | None:
        """The first mark or gap later than `after_ns`; looks on as far as it must."""
        number = self.find(after_ns)
        best: Event | None = None
        while number < len(self.slices) or self.extend():
            one = self.slices[number]
            if best is not None and one.before.played_ns > best.at_ns + CLOCK_SET_BACK_NS:
                break  # a mark may stand a little behind later frames
            later = [event for event in one.events if event.at_ns > after_ns]
            if later and (best is None or later[0].at_ns < best.at_ns):
                best = later[0]
            number += 1
        return best

    def __iter__(self) -> Iterator[Traffic]:
        number = 0
        while number < len(self.slices) or self.extend():
            piece = self.read(number)
            if len(piece.frames):
                yield piece.frames
            number += 1


class LogSlices(TimeIndex):
    """A log that can only be read from its beginning: its columns are kept (27 bytes a classic frame)."""

    def __init__(self, recording: Recording) -> None:
        super().__init__()
        self._recording = recording
        self._items = iter(recording)
        self._pieces: list[Piece] = []
        self.buses, self.lines, self.notes = recording.buses, recording.lines, recording.notes

    def _look(self) -> Found | None:
        item = next(self._items, None)
        self.truncated, self.bad_records = self._recording.truncated, self._recording.bad_records
        if item is None:
            return None
        found = Found()
        self.clock = found.add(item, self.clock)
        while isinstance(item, LineChunk) and (item := next(self._items, None)) is not None:
            self.clock = found.add(item, self.clock)
        self._pieces.append(found.piece())
        return found

    def read(self, number: int) -> Piece:
        return self._pieces[number]

    def close(self) -> None:
        self._pieces.clear()
        self._recording.close()


def open_index(path: Path) -> TimeIndex:
    """The recording in `path`, to be gone to by time. Raises InputError as open_recording does."""
    from benchcheck.capture.capture_slices import CaptureSlices
    from benchcheck.capture.logs import is_capture, open_recording
    from benchcheck.capture.parts import parts_of

    if is_capture(path):
        return CaptureSlices(parts_of(path) or [path])
    return LogSlices(open_recording(path))
