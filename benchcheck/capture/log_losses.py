"""What each form of log can't hold, and how much of a recording that is about: told before anything is written.

The forms are those that python-can writes, as it writes them; a test writes, reads back and compares every entry.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from benchcheck.capture.recording import Mark, Recording
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameBatch, FrameFlag

EXPORT_FORMS = (".pcapng", ".asc", ".blf", ".csv", ".db", ".log", ".trc", ".txt")
PACKED_FORMS = (".asc", ".csv", ".log", ".txt")  # that may have .gz behind

_NO_PLACE = "left out: the form has no place for it"
_TO_MICROSECOND = "cut to the microsecond"
# feature -> form -> what becomes of it; where a form is not named, nothing is lost
_BECOMES: dict[str, dict[str, str]] = {
    "directions": {
        ".csv": "all count as received",
        ".db": "all count as received",
    },
    "error_directions": {
        ".asc": "error frames count as received",
        ".blf": "error frames count as received",
        ".log": "error frames count as received",
    },
    "error_frames": {
        ".asc": "only that there was one: its identifier and data are left out",
        ".log": "only that there was one: its identifier and data are left out",
        ".trc": "left out: python-can does not write them in this form",
    },
    "remote_frames": {".trc": "left out: python-can does not write them in this form"},
    "remote_lengths": {".log": "left out: python-can does not write them in this form"},
    "fd_frames": {
        ".csv": "their data is written, but nothing says that they are FD: longer ones read as damage",
        ".db": "their data is written, but nothing says that they are FD: longer ones read as damage",
        ".trc": "left out: python-can does not write them in this form",
    },
    "empty_fd_frames": {".asc": "written, but python-can's reader fails at them: they read as damage"},
    "length_codes": {
        ".log": "written as 8",
        ".trc": "written as 8",
        ".txt": "written as 8",
    },
    "buses": {
        ".csv": "the form does not say on which bus a frame was",
        ".db": "the form does not say on which bus a frame was",
    },
    "bus_names": {
        ".asc": "numbered from 1 on",
        ".blf": "numbered from 1 on",
        ".trc": "numbered from 1 on",
    },
    "number_names": {".log": "written with `can` in front: the form has no names that are numbers"},
    "nanoseconds": {
        ".asc": _TO_MICROSECOND,
        ".csv": _TO_MICROSECOND,
        ".db": _TO_MICROSECOND,
        ".log": _TO_MICROSECOND,
        ".txt": _TO_MICROSECOND,
    },
    "stamps": {
        ".blf": "good to half a microsecond: they pass through a float",
        ".trc": "good to two microseconds: they pass through a float of days",
    },
    "date": {
        ".asc": "stamps count from the first frame; the date is kept to the millisecond and without its time zone"
    },
    "set_back": {
        ".asc": "left out: this form can't tell times before its first one",
        ".blf": "left out: this form can't tell times before its first one",
        ".log": "left out: python-can would give them another stamp",
        ".trc": "left out: python-can would give them another stamp",
    },
    "before_1970": {".pcapng": "left out: this form can't tell times before 1970"},
    "lines_before_1970": {".pcapng": "left out: this form can't tell times before 1970"},
    "rates": dict.fromkeys(EXPORT_FORMS[1:], _NO_PLACE),
    "line_chunks": dict.fromkeys(EXPORT_FORMS[1:], _NO_PLACE),
    "marks": dict.fromkeys(EXPORT_FORMS[1:], _NO_PLACE),
    "drop_counts": dict.fromkeys(EXPORT_FORMS[1:], _NO_PLACE),
    "recorder_gaps": dict.fromkeys(EXPORT_FORMS[1:], _NO_PLACE),
    "reading_back": {".txt": "this form is for people: no program reads it back"},
}
_TITLES = {
    "directions": "frames that were sent by the bench",
    "error_directions": "error frames noted as sent by the bench",
    "error_frames": "error frames",
    "remote_frames": "remote frames",
    "remote_lengths": "lengths that remote frames ask for",
    "fd_frames": "FD frames",
    "empty_fd_frames": "FD frames without data",
    "length_codes": "classic frames with a length code above 8",
    "buses": "buses",
    "bus_names": "names of buses",
    "number_names": "names of buses that are numbers",
    "nanoseconds": "stamps finer than a microsecond",
    "stamps": "stamps",
    "date": "stamps with their date",
    "set_back": "frames stamped before the first one",
    "before_1970": "frames stamped before 1970",
    "lines_before_1970": "chunks of serial lines and marks stamped before 1970",
    "rates": "bit rates of buses",
    "line_chunks": "chunks of serial lines",
    "marks": "marks",
    "drop_counts": "frames that the recorder counted as dropped",
    "recorder_gaps": "times in which not everything was recorded",
    "reading_back": "frames",
}


@dataclass(slots=True)
class Contents:
    """What a recording holds, as far as some form can't."""

    frames: int = 0
    first_ns: int | None = None
    counts: dict[str, int] = field(default_factory=dict)

    def add(self, feature: str, count: int) -> None:
        if count:
            self.counts[feature] = self.counts.get(feature, 0) + count


@dataclass(frozen=True, slots=True)
class Loss:
    """`count` of `what` would become `becomes`; `feature` is the same for programs."""

    feature: str
    what: str
    count: int
    becomes: str


def look_through(recording: Recording) -> Contents:
    """Read all of a recording and count what it holds; afterwards it is at its end."""
    contents = Contents()
    for item in recording:
        if isinstance(item, FrameBatch):
            _look_at(item, contents)
        else:
            contents.add("marks" if isinstance(item, Mark) else "line_chunks", 1)
            contents.add("lines_before_1970", int(item.time_ns < 0))
    buses = recording.buses
    contents.add("buses", len(buses) if len(buses) > 1 else 0)
    contents.add("bus_names", sum(bus.name != str(number) for number, bus in enumerate(buses, 1)))
    contents.add("number_names", sum(bus.name.isdigit() for bus in buses))
    contents.add("rates", sum(bus.bitrate is not None or bus.data_bitrate is not None for bus in buses))
    contents.add("drop_counts", recording.dropped_frames)
    contents.add("recorder_gaps", len(recording.recorder_gaps))
    contents.add("stamps", contents.frames)
    contents.add("date", contents.frames)
    contents.add("reading_back", contents.frames)
    return contents


def losses(contents: Contents, form: str) -> list[Loss]:
    """What is lost when the recording is written in `form`, one of EXPORT_FORMS."""
    return [
        Loss(feature, _TITLES[feature], contents.counts[feature], becomes[form])
        for feature, becomes in _BECOMES.items()
        if form in becomes and contents.counts.get(feature)
    ]


def kept_rows(batch: FrameBatch, form: str, first_ns: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which frames of a batch the form can hold at all; the table says the same of them in words."""
    kept = np.ones(len(batch), np.bool_)
    for feature, flag in (
        ("error_frames", FrameFlag.ERROR),
        ("remote_frames", FrameFlag.REMOTE),
        ("fd_frames", FrameFlag.FD),
    ):
        if _BECOMES[feature].get(form, "").startswith("left out"):
            kept &= (batch.flags & flag) == 0
    if form in _BECOMES["set_back"]:
        kept &= batch.time_ns >= first_ns
    if form in _BECOMES["before_1970"]:
        kept &= batch.time_ns >= 0
    return kept


def _look_at(batch: FrameBatch, contents: Contents) -> None:
    if contents.first_ns is None:
        contents.first_ns = int(batch.time_ns[0])
    flags = batch.flags
    error, sent, remote = ((flags & flag) != 0 for flag in (FrameFlag.ERROR, FrameFlag.SENT, FrameFlag.REMOTE))
    contents.frames += len(batch)
    contents.add("directions", int(np.count_nonzero(sent)))
    contents.add("error_directions", int(np.count_nonzero(sent & error)))
    contents.add("error_frames", int(np.count_nonzero(error)))
    contents.add("remote_frames", int(np.count_nonzero(remote)))
    contents.add("remote_lengths", int(np.count_nonzero(remote & (batch.length > 0))))
    contents.add("fd_frames", int(np.count_nonzero(flags & FrameFlag.FD)))
    contents.add("empty_fd_frames", int(np.count_nonzero((flags & FrameFlag.FD != 0) & (batch.length == 0))))
    contents.add("length_codes", int(np.count_nonzero(flags >> RAW_DLC_SHIFT)))
    contents.add("nanoseconds", int(np.count_nonzero(batch.time_ns % 1000)))
    contents.add("set_back", int(np.count_nonzero(batch.time_ns < contents.first_ns)))
    contents.add("before_1970", int(np.count_nonzero(batch.time_ns < 0)))
