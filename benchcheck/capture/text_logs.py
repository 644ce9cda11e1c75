"""Logs of the text forms .asc, .csv and .trc, read so that one bad line or a cut file loses nothing else.

python-can's readers end for good at the first line they can't take. Here they are fed one line at a time through
a stand-in for the file, and started anew on the same stand-in each time, so that a bad line alone is bad. The
stand-in first gives a restarted reader the header line that it insists on.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, cast

from benchcheck.capture.library_log import LibraryLog
from benchcheck.capture.recording import Traffic
from benchcheck.capture.unpack import PackedDamage, open_binary
from benchcheck.words.frames import FD_LENGTHS

if TYPE_CHECKING:
    from can import Message

TEXT_FORMS = (".asc", ".csv", ".trc")

_LONGEST_LINE = 4096
_FD_CODES = sorted(FD_LENGTHS)  # data bytes by length code
# a line of the asc form that has a stamp, a channel and an identifier is meant as a frame, whatever follows
_ASC_FRAME = re.compile(r"\d+\.\d+\s+(\d+\s+[0-9a-fA-F]+x?(\s|$)|CANFD\s)")


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


class TextLog(LibraryLog):
    """Logs of the forms .asc, .csv and .trc, also packed with gzip. `form` is the suffix."""

    def __init__(self, path: Path, form: str) -> None:
        super().__init__(path)
        self._form = form
        if form == ".csv":
            self.no_channel()

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
                    if self.full():
                        yield self.rows.take()
        finally:
            log.removeHandler(warnings)
            log.propagate = propagate
        if self._form == ".csv":
            self.no_fd()
        if len(self.rows):
            yield self.rows.take()

    def length_of(self, message: Message) -> tuple[int, int]:
        code = message.dlc
        if message.is_fd and self._form == ".trc" and 0 <= code < len(_FD_CODES):
            return _FD_CODES[code], 0  # the library leaves the length code where the length belongs
        if not message.is_fd and self._form == ".asc" and code > 8 and code in _FD_CODES:
            return 8, _FD_CODES.index(code)  # the library makes an FD length of a classic frame's length code
        return super().length_of(message)

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
            except (PackedDamage, OSError) as damage:
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
                self.take(message, channel_from=channel_from)
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
