"""Logs of the binary forms .blf and .db, read up to the damage where there is any."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any, cast

from benchcheck.capture.library_log import LibraryLog
from benchcheck.capture.recording import Traffic
from benchcheck.capture.unpack import open_binary
from benchcheck.words.errors import InputError
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameFlag


class BinaryLog(LibraryLog):
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
                self.take(message, start_ns, channel_from=1)
                if self.full():
                    yield self.rows.take()
            if not self.truncated and (reader._tail.strip(b"\0") or self._is_short(reader.file_size)):
                self.damaged("the end of the file is missing; what is there was read")
        if len(self.rows):
            yield self.rows.take()

    def _is_short(self, stated: int) -> bool:
        return self.path.suffix.lower() != ".gz" and self.path.stat().st_size < stated


class TableLog(LibraryLog):
    """Logs of the form .db: an SQLite table `messages`, as python-can writes it. Opened for reading only."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.no_channel()

    def __iter__(self) -> Iterator[Traffic]:
        uri = f"{self.path.resolve().as_uri()}?mode=ro"
        try:
            connection = sqlite3.connect(uri, uri=True)
        except sqlite3.Error as error:
            raise InputError(f"can't be read: {error}", where=str(self.path)) from error
        with closing(connection):
            try:
                # lets a file that was cut be opened all the same; nothing is written, the connection can only read
                connection.execute("PRAGMA writable_schema=ON")
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
                if self.full():
                    yield self.rows.take()
        self.no_fd()
        if len(self.rows):
            yield self.rows.take()

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
        elif len(content) == 8 and 9 <= length <= 15:  # a classic frame with a length code above 8
            flags |= length << RAW_DLC_SHIFT
            length = 8
        self.add(stamp, 0, "bus", can_id, flags, length, content)
