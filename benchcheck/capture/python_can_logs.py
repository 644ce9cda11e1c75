"""Logs in the other forms that python-can reads, read so that one bad line or a cut file loses nothing else.

python-can's text readers end for good at the first line they can't take. Here they are fed one line at a time through
a stand-in for the file, and started anew on the same stand-in after each failure, so that line alone is bad. The
stand-in first gives a restarted reader the header line that it insists on.
"""

from __future__ import annotations

import gzip
import logging
import math
import re
import sqlite3
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, cast

from benchcheck.capture.recording import (
    BATCH_FRAMES,
    FD_LENGTHS,
    FrameRows,
    Recording,
    Traffic,
    is_sane_stamp,
    is_sound,
)
from benchcheck.words.errors import InputError
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameFlag

if TYPE_CHECKING:
    from can import Message

_LONGEST_LINE = 4096
FD_CODES = sorted(FD_LENGTHS)  # data bytes by length code
_GZIP_DAMAGE = (EOFError, zlib.error, gzip.BadGzipFile)
# a line of the asc form that has a stamp, a channel and an identifier is meant as a frame, whatever follows
_ASC_FRAME = re.compile(r"\d+\.\d+\s+(\d+\s+[0-9a-fA-F]+x?(\s|$)|CANFD\s)")


def open_binary(path: Path) -> IO[bytes]:
    """The file's bytes, unpacked where its name ends in `.gz`. Raises InputError."""
    try:
        return cast("IO[bytes]", gzip.open(path, "rb")) if path.suffix.lower() == ".gz" else path.open("rb")
    except OSError as error:
        raise InputError(f"can't be read: {error.strerror}", where=str(path)) from error


class _LibraryLog(Recording):
    """What the logs that come through python-can's Message have in common."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path
        self._rows = FrameRows()
        self._bus_of: dict[str, int] = {}

    def close(self) -> None:
        """Files are open only while they are iterated."""

    def _take(self, message: Message, start_ns: int = 0, channel_from: int = 0) -> None:
        """Keep the frame of a message, or count it as bad. `channel_from` is what the library took off the number."""
        flags = FrameFlag.EXTENDED.value if message.is_extended_id else 0
        flags |= FrameFlag.REMOTE.value if message.is_remote_frame else 0
        flags |= FrameFlag.ERROR.value if message.is_error_frame else 0
        flags |= FrameFlag.FD.value if message.is_fd else 0
        flags |= FrameFlag.BRS.value if message.is_fd and message.bitrate_switch else 0
        flags |= FrameFlag.ESI.value if message.is_fd and message.error_state_indicator else 0
        flags |= 0 if message.is_rx else FrameFlag.SENT.value
        data = bytes(message.data) if message.data is not None else b""
        length, raw_code = self._length_of(message)
        if raw_code:
            flags |= raw_code << RAW_DLC_SHIFT
            data = data[:8]
        if message.is_error_frame:
            data = data[:8]
            length = len(data)
        channel = message.channel
        name = "bus" if channel is None else str(channel + channel_from if isinstance(channel, int) else channel)
        self._add(message.timestamp, start_ns, name, message.arbitration_id, flags, length, data)

    def _add(self, stamp: float, start_ns: int, name: str, can_id: int, flags: int, length: int, data: bytes) -> None:
        time_ns = start_ns + nanoseconds(stamp) if math.isfinite(stamp) and abs(stamp) < 1e10 else 1 << 63
        if not is_sane_stamp(time_ns) or not is_sound(can_id, flags, length, len(data)):
            self.bad_records += 1
            return
        bus = self._bus_of.get(name)
        if bus is None:
            bus = self._bus_of[name] = self.bus_index(name)
        self._rows.add(time_ns, bus, can_id & 0x1FFF_FFFF, flags, length, data)

    def _length_of(self, message: Message) -> tuple[int, int]:
        """(data bytes, length code as sent where a classic frame has one above 8, else 0)."""
        length = message.dlc
        if message.is_fd or message.is_error_frame or not 9 <= length <= 15:
            return length, 0
        return 8, length

    def _full(self) -> bool:
        return len(self._rows) >= BATCH_FRAMES


def nanoseconds(stamp: float) -> int:
    """A float of seconds as integer nanoseconds: to the microsecond where a float of that size can't hold more."""
    return round(stamp * 1e9) if abs(stamp) < 1e6 else round(stamp * 1e6) * 1000


class _LineFeed:
    """Stands in for a text file: gives a library reader the line that is next, and one header line on each start."""

    def __init__(self, header: str | None) -> None:
        self._header = header
        self._next: list[str] = []
        self.restarted()

    def restarted(self) -> None:
        self._next = [] if self._header is None else [self._header]

    def put(self, line: str) -> None:
        self._next.append(line)

    def __iter__(self) -> _LineFeed:
        return self

    def __next__(self) -> str:
        if not self._next:
            raise StopIteration
        return self._next.pop(0)

    def close(self) -> None:
        """The readers close their file at its end."""


class _Warnings(logging.Handler):
    """Hears what python-can says of a line only in its own log: such lines are bad."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.count = 0

    def emit(self, record: logging.LogRecord) -> None:
        self.count += 1


class TextLog(_LibraryLog):
    """Logs of the forms .asc, .csv and .trc, also packed with gzip. `form` is the suffix."""

    def __init__(self, path: Path, form: str) -> None:
        super().__init__(path)
        self._form = form

    def __iter__(self) -> Iterator[Traffic]:
        reader, feed = self._reader()
        channel_from = 1 if self._form == ".asc" else 0
        warnings = _Warnings()
        log = logging.getLogger("can.io")
        propagate, log.propagate = log.propagate, False
        log.addHandler(warnings)
        try:
            with open_binary(self.path) as file:
                lines = self._lines(file)
                if self._form == ".csv":
                    next(lines, None)
                    self.skipped_lines += 1
                for line in lines:
                    if self._is_skipped(line):
                        self.skipped_lines += 1
                        if not line.startswith(";$"):
                            continue
                    self._feed(reader, feed, line, warnings, channel_from)
                    if self._full():
                        yield self._rows.take()
        finally:
            log.removeHandler(warnings)
            log.propagate = propagate
        if len(self._rows):
            yield self._rows.take()

    def _length_of(self, message: Message) -> tuple[int, int]:
        code = message.dlc
        if message.is_fd and self._form == ".trc" and 0 <= code < len(FD_CODES):
            return FD_CODES[code], 0  # the library leaves the length code where the length belongs
        if not message.is_fd and self._form == ".asc" and code > 8 and code in FD_CODES:
            return 8, FD_CODES.index(code)  # the library makes an FD length of a classic frame's length code
        return super()._length_of(message)

    def _reader(self) -> tuple[Any, _LineFeed]:
        import can

        if self._form == ".asc":
            # this line ends the header, so that the reader takes the next one for traffic
            feed = _LineFeed("no internal events logged")
            return can.ASCReader(cast("Any", feed)), feed
        if self._form == ".csv":
            feed = _LineFeed("header")
            return can.CSVReader(cast("Any", feed)), feed
        feed = _LineFeed(None)
        return can.TRCReader(cast("Any", feed)), feed

    def _lines(self, file: IO[bytes]) -> Iterator[str]:
        while True:
            try:
                line = file.readline(_LONGEST_LINE)
            except (*_GZIP_DAMAGE, OSError) as damage:
                self.damaged(f"cut or damaged ({damage}); what stands before was read")
                return
            if not line:
                return
            yield line.decode("utf-8", "backslashreplace").strip()

    def _is_skipped(self, line: str) -> bool:
        return not line or line.startswith((";", "//", "#"))

    def _feed(self, reader: Any, feed: _LineFeed, line: str, warnings: _Warnings, channel_from: int) -> None:
        """Give one line to the library's reader and keep what comes of it."""
        header = line.startswith(";$") or (self._form == ".asc" and _is_asc_header(line))
        if self._form == ".asc" and line[:5].lower() == "base ":
            reader.base = "dec" if " dec" in line.lower() else "hex"
            reader._converted_base = reader._check_base(reader.base)
        if header:
            if self._form == ".trc":
                feed.put(line)
                _drain(reader, [])
            else:
                self.skipped_lines += 1
            return
        before = warnings.count
        feed.restarted()
        feed.put(line)
        messages: list[Message] = []
        failed = _drain(reader, messages)
        if failed or warnings.count > before:
            self.bad_records += 1
        elif messages:
            for message in messages:
                self._take(message, channel_from=channel_from)
        elif self._form == ".asc" and _ASC_FRAME.match(line):
            self.bad_records += 1
        else:
            self.skipped_lines += 1


def _is_asc_header(line: str) -> bool:
    return line.lower().startswith(("date ", "base ", "internal events", "no internal events", "begin ", "end "))


def _drain(reader: Any, messages: list[Message]) -> bool:
    """Whether the library failed on the lines it was given; what it made of them goes into `messages`."""
    try:
        messages += list(reader)
    except Exception:  # whatever a library raises on garbage means that the line is bad
        return True
    return False


class BinaryLog(_LibraryLog):
    """Logs of the form .blf, also packed with gzip. A file whose end is missing is read up to there."""

    def __iter__(self) -> Iterator[Traffic]:
        import can

        with open_binary(self.path) as file:
            try:
                reader: Any = can.BLFReader(cast("Any", file))
            except Exception as error:
                raise InputError(
                    "is no log of this form", where=str(self.path), hint="Its header can't be understood."
                ) from error
            # the start is in whole milliseconds; kept apart, the stamps stay exact to the nanosecond
            start_ns = round(reader.start_timestamp * 1000) * 1_000_000
            reader.start_timestamp = 0.0
            messages = iter(reader)
            while True:
                try:
                    message = next(messages)
                except StopIteration:
                    break
                except Exception as damage:
                    self.damaged(f"damaged ({damage or type(damage).__name__}); what stands before was read")
                    break
                self._take(message, start_ns, channel_from=1)
                if self._full():
                    yield self._rows.take()
            if not self.truncated and (reader._tail.strip(b"\0") or self._is_short(reader.file_size)):
                self.damaged("the end of the file is missing; what is there was read")
        if len(self._rows):
            yield self._rows.take()

    def _is_short(self, stated: int) -> bool:
        return self.path.suffix.lower() != ".gz" and self.path.stat().st_size < stated


class TableLog(_LibraryLog):
    """Logs of the form .db: an SQLite table `messages`, as python-can writes it. Opened for reading only."""

    def __iter__(self) -> Iterator[Traffic]:
        uri = f"{self.path.resolve().as_uri()}?mode=ro"
        try:
            connection = sqlite3.connect(uri, uri=True)
        except sqlite3.Error as error:
            raise InputError(f"can't be read: {error}", where=str(self.path)) from error
        with closing(connection):
            try:
                rows = connection.execute("SELECT ts, arbitration_id, extended, remote, error, dlc, data FROM messages")
            except sqlite3.Error as error:
                raise InputError(
                    f"is no log of this form: {error}", where=str(self.path), hint="A table `messages` is looked for."
                ) from error
            while True:
                try:
                    row = rows.fetchone()
                except sqlite3.Error as damage:
                    self.damaged(f"damaged ({damage}); what stands before was read")
                    break
                if row is None:
                    break
                self._row(row)
                if self._full():
                    yield self._rows.take()
        if len(self._rows):
            yield self._rows.take()

    def _row(self, row: tuple[object, ...]) -> None:
        stamp, can_id, extended, remote, error, length, data = row
        if not isinstance(stamp, int | float) or not isinstance(can_id, int) or not isinstance(length, int):
            self.bad_records += 1
            return
        flags = FrameFlag.EXTENDED.value if extended else 0
        flags |= FrameFlag.REMOTE.value if remote else 0
        flags |= FrameFlag.ERROR.value if error else 0
        content = data if isinstance(data, bytes) else b""
        if remote:
            content = b""
        if error:
            content = content[:8]
            length = len(content)
        self._add(stamp, 0, "bus", can_id, flags, length, content)


Opener = Callable[[Path], Recording]
LIBRARY_FORMS: dict[str, Opener] = {
    ".asc": lambda path: TextLog(path, ".asc"),
    ".csv": lambda path: TextLog(path, ".csv"),
    ".trc": lambda path: TextLog(path, ".trc"),
    ".blf": BinaryLog,
    ".db": TableLog,
}
