"""Opens any recording by its form: our own captures, and the logs that python-can reads."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import IO

from benchcheck.capture import can_text, pcapng_form
from benchcheck.capture.binary_logs import BinaryLog, TableLog
from benchcheck.capture.parts import CaptureParts, parts_of
from benchcheck.capture.pcapng_reader import CaptureReader
from benchcheck.capture.recording import BATCH_FRAMES, FrameRows, LineChunk, LineInfo, Recording, Traffic
from benchcheck.capture.text_logs import TEXT_FORMS, TextLog
from benchcheck.capture.unpack import PackedDamage, open_binary
from benchcheck.words.errors import InputError

_LONGEST_LINE = 4096
_LINE_FORMS = (".log", ".txt")
_MOST_BUSES = 1000  # garbage makes up ever new channel names
_PEEK_BYTES = 4096
_CHUNK_BYTES = 65536

KNOWN_FORMS = (".pcapng", *_LINE_FORMS, *TEXT_FORMS, ".blf", ".db")


def open_recording(path: Path, *, gathered: bool = False) -> Recording:
    """The recording in `path`, not read yet.

    The form is known by the suffix (`.gz` behind it means packed), a pcapng capture by its first bytes. Where there is
    no `name.pcapng` but `name.0001.pcapng`, all parts are read as one. `gathered` is as for CaptureReader.
    Raises InputError for a file that is missing, empty, of an unknown form or plainly not what its name says.
    """
    parts = parts_of(path)
    if parts:
        return CaptureParts(parts, gathered=gathered)
    _check_there(path)
    with path.open("rb") as file:
        if file.read(4) == pcapng_form.MAGIC:
            return CaptureReader(path, gathered=gathered)
    form = form_of(path)
    if form == ".pcapng":
        return CaptureReader(path)  # says what is wrong with it
    if form in (*_LINE_FORMS, *TEXT_FORMS):
        _check_text(path)
        return TextFrames(path) if form in _LINE_FORMS else TextLog(path, form)
    if form == ".blf":
        return BinaryLog(path)
    if form == ".db":
        if path.suffix.lower() == ".gz":
            raise InputError("can't be read packed", where=str(path), hint="Unpack it first.")
        return TableLog(path)
    hint = f"It can be read from {', '.join(KNOWN_FORMS)}; packed as .gz too. Raw bytes of a line need --line."
    if form == ".mf4":
        hint = "This form needs a library that is not installed with benchcheck; convert the file to .blf."
    raise InputError(f"has a form that can't be read ({form or 'no suffix'})", where=str(path), hint=hint)


def open_line(path: Path, protocol: str) -> Recording:
    """A file that holds the raw bytes of one line, as a recording. Raises InputError for a missing or empty file."""
    _check_there(path)
    return RawLine(path, protocol)


def is_capture(path: Path) -> bool:
    """Whether the file begins as a pcapng capture. Raises InputError for a missing or empty file."""
    if parts_of(path):
        return True
    _check_there(path)
    with path.open("rb") as file:
        return file.read(4) == pcapng_form.MAGIC


def size_bytes(path: Path) -> int:
    """Of the file, or of all parts of the capture."""
    return sum(part.stat().st_size for part in parts_of(path) or [path])


def form_of(path: Path) -> str:
    """The suffix that tells the form, in lower case: `.log` of `a.log` and of `a.LOG.gz`."""
    suffixes = [suffix.lower() for suffix in path.suffixes]
    if suffixes and suffixes[-1] == ".gz":
        suffixes.pop()
    return suffixes[-1] if suffixes else ""


def _check_there(path: Path) -> None:
    if str(path) == "-":
        raise _no_plain_file("-")
    try:
        if path.is_dir():
            raise InputError("is a folder", where=str(path), hint="Name the recording in it.")
        size = path.stat().st_size
        if not path.is_file():  # looked at before it is opened: opening a pipe waits for who writes into it
            raise _no_plain_file(str(path))
        with path.open("rb"):
            pass
    except FileNotFoundError as error:
        raise InputError("there is no such file", where=str(path), hint="Check the path.") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise InputError(f"can't be read: {reason}", where=str(path)) from error
    if size == 0:
        raise InputError("is empty", where=str(path), hint="The recorder wrote nothing into it.")


def _no_plain_file(where: str) -> InputError:
    return InputError(
        "is no plain file, and one is needed: a recording is read from more than one place",
        where=where,
        hint="Save what comes through a pipe in a file first.",
    )


def _check_text(path: Path) -> None:
    """Raise InputError for a file that is no text at all."""
    with open_binary(path) as file:
        try:
            head = file.read(_PEEK_BYTES)
        except PackedDamage:
            return  # reading it tells how far it goes
    strange = sum(byte < 9 or 14 <= byte < 32 for byte in head)
    if strange * 10 > len(head):
        raise InputError(
            "holds binary data where a text log was expected",
            where=str(path),
            hint="Check the suffix: the form of a log is told by it. Raw bytes of a line need --line.",
        )


class RawLine(Recording):
    """Raw bytes of one line, also packed with gzip; there are no stamps, so all chunks have stamp 0."""

    def __init__(self, path: Path, protocol: str) -> None:
        super().__init__()
        self.path = path
        self.lines.append(LineInfo(path.name, protocol))

    def close(self) -> None:
        """The file is open only while it is iterated."""

    def __iter__(self) -> Iterator[Traffic]:
        with open_binary(self.path) as file:
            while True:
                try:
                    data = file.read(_CHUNK_BYTES)
                except (PackedDamage, OSError) as damage:
                    self.damaged(f"cut or damaged ({damage}); what stands before was read")
                    return
                if not data:
                    return
                yield LineChunk(0, 0, False, data)


class TextFrames(Recording):
    """Logs of the form .log or .txt (see can_text), also packed with gzip."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path

    def close(self) -> None:
        """The file is open only while it is iterated."""

    def __iter__(self) -> Iterator[Traffic]:
        rows = FrameRows()
        bus_of: dict[bytes, int] = {}
        line = b"\n"
        with open_binary(self.path) as file:
            for line in self._lines(file):
                frame = can_text.parse_line(line)
                if frame is can_text.LineKind.SKIPPED:
                    self.skipped_lines += 1
                    continue
                if isinstance(frame, can_text.LineKind):
                    self.bad_records += 1
                    continue
                bus = bus_of.get(frame.channel)
                if bus is None:
                    if len(bus_of) >= _MOST_BUSES:
                        self.bad_records += 1
                        continue
                    bus = bus_of[frame.channel] = self.bus_index(frame.channel.decode("utf-8", "backslashreplace"))
                rows.add(frame.time_ns, bus, *frame[2:])
                if len(rows) >= BATCH_FRAMES:
                    yield rows.take()
        if not line.endswith((b"\n", b"\r")):
            self.notes.append("the last line has no end: it may have been cut short")
        if len(rows):
            yield rows.take()

    def _lines(self, file: IO[bytes]) -> Iterator[bytes]:
        while True:
            try:
                line = file.readline(_LONGEST_LINE)
            except (PackedDamage, OSError) as damage:
                self.damaged(f"cut or damaged ({damage}); what stands before was read")
                return
            if not line:
                return
            yield line
