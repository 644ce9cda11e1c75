"""Writes a recording as a log of any form that python-can writes, or as a capture of our own."""

from __future__ import annotations

import gzip
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchcheck.capture.log_losses import EXPORT_FORMS, PACKED_FORMS, Contents, kept_rows
from benchcheck.capture.logs import form_of
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.capture.recording import LineChunk, Recording
from benchcheck.words import recorder_gap
from benchcheck.words.errors import InputError, SetupError
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameBatch, FrameFlag
from benchcheck.words.recorder_gap import RecorderGap

if TYPE_CHECKING:
    from can import Message

_MESSAGES_A_TIME = 4096


def export_form(path: Path, *, replace: bool = False) -> str:
    """The form that a file of this name gets. Raises InputError where it can't be written."""
    form = form_of(path)
    packed = path.suffix.lower() == ".gz"
    if form not in EXPORT_FORMS or (packed and form not in PACKED_FORMS):
        hint = f"Forms: {', '.join(EXPORT_FORMS)}; {', '.join(PACKED_FORMS)} with .gz behind, too."
        if form == ".mf4":
            hint = "This form needs a library that is not installed with benchcheck. " + hint
        what = f"{form}.gz" if packed else form or "no suffix"
        raise InputError(f"has a form that can't be written ({what})", where=str(path), hint=hint)
    if path.exists() and not replace:
        raise InputError("is there already", where=str(path), hint="Name a new file, or give --replace.")
    return form


def export(recording: Recording, contents: Contents, path: Path, *, replace: bool = False) -> int:
    """Write all of `recording`, freshly opened, into `path`; how many frames were written.

    contents  what looking through it has found
    replace   whether a file that is there may be replaced, which happens when the new one is whole

    Raises InputError where the file is there, or can't be written.
    """
    form = export_form(path, replace=replace)
    first_ns = contents.first_ns or 0
    with _written_aside(path, replace=replace) as aside:
        if form == ".pcapng":
            return _write_capture(recording, aside)
        batches = _frames(recording, form, first_ns)
        if form == ".db":
            return _write_table(batches, aside)
        return _write_log(recording, batches, aside, form)


@contextmanager
def _written_aside(path: Path, *, replace: bool) -> Iterator[Path]:
    """A new file beside `path`, that takes its place once it is whole."""
    aside = path.with_name(f".{os.getpid()}.{path.name}")
    try:
        yield aside
        if replace:
            aside.replace(path)
        else:
            try:
                os.link(aside, path)  # unlike a rename, never in the place of a file that came up meanwhile
            except FileExistsError as error:
                raise InputError("is there already", where=str(path), hint="Name a new file.") from error
            except OSError:  # a file system without links
                export_form(path)
                aside.replace(path)
    except OSError as error:
        raise InputError(f"can't be written: {error.strerror}", where=str(path)) from error
    except SetupError as error:  # the capture's writer says that what it wrote stays, and of itself where
        raise InputError(error.text, where=str(path), hint="Is the disk full, or gone?") from error
    except sqlite3.Error as error:
        raise InputError(f"can't be written: {error}", where=str(path)) from error
    finally:
        with suppress(OSError):
            aside.unlink(missing_ok=True)


def _frames(recording: Recording, form: str, first_ns: int) -> Iterator[FrameBatch]:
    for item in recording:
        if isinstance(item, FrameBatch):
            yield _rows(item, kept_rows(item, form, first_ns))


def _rows(batch: FrameBatch, kept: Any) -> FrameBatch:
    if kept.all():
        return batch
    return FrameBatch(
        batch.time_ns[kept],
        batch.bus[kept],
        batch.can_id[kept],
        batch.flags[kept],
        batch.length[kept],
        batch.data[kept],
    )


def _write_capture(recording: Recording, path: Path) -> int:
    count = 0
    told: set[RecorderGap] = set()
    with CaptureWriter(path) as writer:
        interfaces = _Interfaces(recording, writer)
        for item in recording:
            interfaces.keep_up()
            if isinstance(item, FrameBatch):
                batch = _rows(item, kept_rows(item, ".pcapng", 0))
                for start, stop in _runs(batch):
                    writer.write_frames(interfaces.buses[int(batch.bus[start])], batch.rows(slice(start, stop)))
                count += len(batch)
            elif item.time_ns < 0:
                continue  # as `lines_before_1970` of log_losses says
            elif isinstance(item, LineChunk):
                line = interfaces.lines[item.line]
                writer.write_bytes(line, item.time_ns, item.data, sent=item.sent, framing_errors=item.framing_errors)
            else:
                writer.mark(item.time_ns, item.kind, item.body)
                if item.kind == recorder_gap.MARK and (gap := RecorderGap.from_mark(item.body)) is not None:
                    told.add(gap)
        interfaces.keep_up()
        for gap in recording.recorder_gaps:
            if gap not in told and gap.start_ns >= 0:  # it was known by a missing part or by counts, which stay behind
                writer.gap(gap)
        _write_dropped(recording, interfaces, writer)
    return count


class _Interfaces:
    """The interfaces of a capture that is written anew: all that the recording has, also where nothing came of one."""

    def __init__(self, recording: Recording, writer: CaptureWriter) -> None:
        self._recording = recording
        self._writer = writer
        self.buses: list[int] = []
        self.lines: list[int] = []

    def keep_up(self) -> None:
        """Add those that have turned up since."""
        for bus in self._recording.buses[len(self.buses) :]:
            self.buses.append(self._writer.add_bus(bus.name, bus.bitrate, bus.data_bitrate))
        for line in self._recording.lines[len(self.lines) :]:
            self.lines.append(self._writer.add_line(line.name, line.protocol, line.baud))


def _write_dropped(recording: Recording, interfaces: _Interfaces, writer: CaptureWriter) -> None:
    """What was dropped, of the bus or line that the gaps of the recorder name; of the rest it is not known any more."""
    totals = {
        interface: sum(gap.dropped for gap in recording.recorder_gaps if gap.bus == bus.name)
        for interface, bus in zip(interfaces.buses, recording.buses, strict=True)
    }
    totals |= {
        interface: sum(gap.dropped for gap in recording.recorder_gaps if gap.line == line.name)
        for interface, line in zip(interfaces.lines, recording.lines, strict=True)
    }
    rest = max(0, recording.dropped_frames - sum(totals.values()))
    for interface, total in totals.items():
        if interface == next(iter(totals)):
            total += rest
        if total:
            writer.dropped(interface, total)


def _runs(batch: FrameBatch) -> Iterator[tuple[int, int]]:
    """Where frames of one bus stand one behind the other."""
    import numpy as np

    cuts = (np.flatnonzero(batch.bus[1:] != batch.bus[:-1]) + 1).tolist()
    if len(batch):
        yield from zip([0, *cuts], [*cuts, len(batch)], strict=True)


def _write_table(batches: Iterator[FrameBatch], path: Path) -> int:
    """The table that python-can's reader takes. Its writer keeps some 500 frames of a burst, so it isn't used."""
    count = 0
    with closing(sqlite3.connect(path)) as database, database:
        database.execute(
            "CREATE TABLE messages (ts REAL, arbitration_id INTEGER, extended INTEGER, remote INTEGER, error INTEGER, "
            "dlc INTEGER, data BLOB)"
        )
        for batch in batches:
            for message in _messages(batch, [], ".db"):
                row = (
                    message.timestamp,
                    message.arbitration_id,
                    message.is_extended_id,
                    message.is_remote_frame,
                    message.is_error_frame,
                    message.dlc,
                    bytes(message.data),
                )
                database.execute("INSERT INTO messages VALUES (?, ?, ?, ?, ?, ?, ?)", row)
                count += 1
    return count


def _write_log(recording: Recording, batches: Iterator[FrameBatch], path: Path, form: str) -> int:
    import can

    writers: dict[str, Any] = {
        ".asc": can.ASCWriter,
        ".blf": can.BLFWriter,
        ".csv": can.CSVWriter,
        ".log": can.CanutilsLogWriter,
        ".trc": can.TRCWriter,
        ".txt": can.Printer,
    }
    count = 0
    # opened here, so that nothing is left open where the library fails
    with gzip.open(path, "xt", encoding="utf-8") if path.suffix.lower() == ".gz" else _plain(path, form) as file:
        writer = writers[form](file)
        for batch in batches:
            names = [bus.name for bus in recording.buses]
            for message in _messages(batch, names, form):
                writer(message)
                count += 1
        writer.stop()
    return count


def _plain(path: Path, form: str) -> Any:
    return path.open("xb") if form == ".blf" else path.open("x", encoding="utf-8")


def _messages(batch: FrameBatch, names: list[str], form: str) -> Iterator[Message]:
    from can import Message

    for start in range(0, len(batch), _MESSAGES_A_TIME):
        part = batch.rows(slice(start, start + _MESSAGES_A_TIME))
        columns = zip(
            part.time_ns.tolist(),
            part.bus.tolist(),
            part.can_id.tolist(),
            part.flags.tolist(),
            part.length.tolist(),
            map(bytes, part.data),
            strict=True,
        )
        for time_ns, bus, can_id, flags, length, data in columns:
            remote = bool(flags & FrameFlag.REMOTE)
            yield Message(
                # cut here, so that no writer rounds half up and half down
                timestamp=time_ns // 1000 / 1e6 if form != ".blf" else time_ns / 1e9,
                arbitration_id=can_id,
                is_extended_id=bool(flags & FrameFlag.EXTENDED),
                is_remote_frame=remote,
                is_error_frame=bool(flags & FrameFlag.ERROR),
                is_fd=bool(flags & FrameFlag.FD),
                bitrate_switch=bool(flags & FrameFlag.BRS),
                error_state_indicator=bool(flags & FrameFlag.ESI),
                is_rx=not flags & FrameFlag.SENT,
                dlc=_length_code(flags, length, form),
                data=None if remote else data[:length],
                channel=_one_word(names[bus]) if form in (".log", ".txt") else bus,
            )


def _length_code(flags: int, length: int, form: str) -> int:
    code = flags >> RAW_DLC_SHIFT
    return code if code and form not in (".log", ".trc", ".txt") else length


def _one_word(name: str) -> str:
    """A bus's name as one word of a line."""
    word = "".join(char if char.isprintable() and not char.isspace() else "_" for char in name)[:60]
    return word or "bus"
