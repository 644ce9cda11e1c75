"""Writes captures: append-only, every block whole, so that a cut file reads up to its last whole block.

When it is on the disk: whoever writes calls `keep_up` at least every CALL_NS, with the time of a clock that is never set;
then what was written is on the disk (fsync) no later than DELAY_NS after. A crash of this program alone loses less: every
`keep_up` hands what there is to the operating system. Nothing here looks at a clock.
"""

from __future__ import annotations

import json
import os
import struct
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from benchcheck.capture import pcapng_form as form
from benchcheck.capture.frame_blocks import encode_frames
from benchcheck.words import recorder_gap
from benchcheck.words.errors import InputError, SetupError
from benchcheck.words.frames import FrameBatch
from benchcheck.words.recorder_gap import RecorderGap

DELAY_NS = 500_000_000
CALL_NS = 200_000_000
STATISTICS_NS = 10_000_000_000  # so often the running totals of every interface are written, where they changed
_PACKET_HEAD = struct.Struct("<IIIIIII")


class CaptureWriter:
    """A new capture file. Interfaces are added before traffic of theirs is written; they may be added at any time.

    comment  goes into the section header, as which part of a longer capture this is

    Raises InputError where the file is there already: a capture is evidence and is never written over. Every method
    raises SetupError where the disk is full or gone; what was written before stays, and reads up to its last whole block.
    """

    def __init__(self, path: Path, *, hardware: str = "", application: str = "benchcheck", comment: str = "") -> None:
        try:
            self._file = path.open("xb")
        except FileExistsError as error:
            raise InputError("is there already", where=str(path), hint="Name a new file; captures stay.") from error
        except OSError as error:
            raise InputError(f"can't be written: {error.strerror}", where=str(path)) from error
        self.path = path
        self.bytes = 0
        self.last_ns: int | None = None  # the last stamp that was written
        self._totals: list[_Totals] = []
        self._unsafe = False  # something is not on the disk yet
        self._safe_ns: int | None = None  # everything written before this time is on the disk
        self._counted_ns: int | None = None
        self._links: list[int] = []
        self._marks: int | None = None
        options = [(form.SHB_USERAPPL, application.encode())]
        if comment:
            options.append((form.OPT_COMMENT, comment.encode()))
        if hardware:
            options.insert(0, (form.SHB_HARDWARE, hardware.encode()))
        head = struct.pack("<IHHq", form.BYTE_ORDER_MAGIC, 1, 0, -1)
        self._write(_block(form.SECTION_HEADER, head + _options(options)))

    def add_bus(self, name: str, bitrate: int | None = None, data_bitrate: int | None = None) -> int:
        """A CAN bus; returns its interface number. Rates in bit/s, None where not known."""
        words = [] if data_bitrate is None else [f"data_bitrate={data_bitrate}"]
        return self._add(form.LINK_CAN, name, bitrate, words)

    def add_line(self, name: str, protocol: str = "", baud: int | None = None) -> int:
        """A serial line; returns its interface number."""
        return self._add(form.LINK_SERIAL, name, baud, [f"protocol={protocol}"] if protocol else [])

    def add_marks(self) -> int:
        """The interface of the marks, which is added with the first one where it is not asked for before."""
        if self._marks is None:
            self._marks = self._add(form.LINK_MARKS, "marks", None, [])
        return self._marks

    def write_frames(self, interface: int, batch: FrameBatch) -> None:
        """Frames of one bus (the column `bus` is not looked at), in order."""
        self._expect(interface, form.LINK_CAN)
        if len(batch):
            self._write(encode_frames(interface, batch), int(batch.time_ns[-1]))
            self._totals[interface].received += len(batch)

    def write_bytes(
        self, interface: int, time_ns: int, data: bytes, *, sent: bool = False, framing_errors: int | None = None
    ) -> None:
        """Bytes of a serial line as they were read, or sent by this bench.

        framing_errors  how many of them the port took for wrongly framed; None where it can't tell
        """
        self._expect(interface, form.LINK_SERIAL)
        direction = form.SERIAL_SENT if sent else form.SERIAL_RECEIVED
        if framing_errors is None:
            payload = bytes((form.SERIAL_VERSION, direction)) + data
        else:
            count = min(framing_errors, form.MOST_FRAMING_ERRORS)
            payload = bytes((form.SERIAL_CHECKED_VERSION, direction)) + count.to_bytes(2, "big") + data
        self._write(_packet(interface, time_ns, payload, sent=sent), time_ns)
        self._totals[interface].received += 1

    def mark(self, time_ns: int, kind: str, body: Mapping[str, object] | None = None) -> None:
        """Note something on the capture's clock, as `power_on`."""
        interface = self.add_marks()
        text = json.dumps({**(body or {}), "kind": kind}, allow_nan=False, sort_keys=True)
        self._write(_packet(interface, time_ns, text.encode()), time_ns)

    def gap(self, gap: RecorderGap) -> None:
        """Note that not everything was recorded, once that is over, and before `dropped` counts the same frames."""
        self.mark(gap.end_ns, recorder_gap.MARK, gap.to_mark())

    def statistics(self, interface: int, time_ns: int, *, received: int, dropped: int) -> None:
        """Running totals of one interface: what was received, and what the recorder is known to have dropped."""
        totals = self._totals[interface]
        totals.received, totals.dropped = max(totals.received, received), max(totals.dropped, dropped)
        totals.written = (totals.received, totals.dropped)
        options = _options(
            [(form.ISB_IFRECV, struct.pack("<Q", received)), (form.ISB_IFDROP, struct.pack("<Q", dropped))]
        )
        body = struct.pack("<III", interface, *_stamp(time_ns)) + options
        self._write(_block(form.INTERFACE_STATISTICS, body))

    def dropped(self, interface: int, total: int) -> None:
        """The recorder is known to have dropped `total` of this interface since the file began; written with keep_up."""
        self._totals[interface].dropped = max(total, self._totals[interface].dropped)

    def keep_up(self, now_ns: int) -> None:
        """Write the totals where that is due, and bring to the disk what must be there; see the head of this file."""
        if self._counted_ns is None:
            self._counted_ns = now_ns
        if now_ns - self._counted_ns >= STATISTICS_NS:
            self._counted_ns = now_ns
            self._write_totals()
        if not self._unsafe:
            self._safe_ns = now_ns
        elif self._safe_ns is None or now_ns - self._safe_ns >= DELAY_NS - CALL_NS:
            self.sync()
            self._safe_ns = now_ns
        else:
            self.flush()

    def flush(self) -> None:
        """Hand everything to the operating system."""
        try:
            self._file.flush()
        except OSError as error:
            raise self._failed(error) from error

    def sync(self) -> None:
        """Bring everything to the disk, and wait for that."""
        self.flush()
        try:
            os.fsync(self._file.fileno())
        except OSError as error:
            raise self._failed(error) from error
        self._unsafe = False

    def close(self) -> None:
        """Write the last totals, bring everything to the disk and close. The second time it does nothing."""
        if self._file.closed:
            return
        try:
            self._write_totals()
            self.sync()
        finally:
            with suppress(OSError):
                self._file.close()

    def _write_totals(self) -> None:
        for interface, totals in enumerate(self._totals):
            if totals.written != (totals.received, totals.dropped):
                self.statistics(interface, self.last_ns or 0, received=totals.received, dropped=totals.dropped)

    def __enter__(self) -> CaptureWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _add(self, link: int, name: str, speed: int | None, words: list[str]) -> int:
        options = [(form.IF_NAME, name.encode())]
        if words:
            options.append((form.IF_DESCRIPTION, " ".join(words).encode()))
        if speed is not None:
            options.append((form.IF_SPEED, struct.pack("<Q", speed)))
        options.append((form.IF_TSRESOL, b"\x09"))
        self._write(_block(form.INTERFACE_DESCRIPTION, struct.pack("<HHI", link, 0, 0) + _options(options)))
        self._links.append(link)
        self._totals.append(_Totals())
        return len(self._links) - 1

    def _expect(self, interface: int, link: int) -> None:
        if not 0 <= interface < len(self._links) or self._links[interface] != link:
            raise ValueError(f"interface {interface} is not one of link type {link}")

    def _write(self, data: bytes, time_ns: int | None = None) -> None:
        try:
            self._file.write(data)
        except OSError as error:
            raise self._failed(error) from error
        self.bytes += len(data)
        if time_ns is not None:
            self.last_ns = time_ns
        self._unsafe = True

    def _failed(self, error: OSError) -> SetupError:
        return SetupError(
            f"the capture can't be written: {error.strerror or error}",
            where=str(self.path),
            hint="Is the disk full, or gone? What was written before can be read.",
        )


@dataclass(slots=True)
class _Totals:
    """Of one interface: what was received and dropped, and what of that was written last."""

    received: int = 0
    dropped: int = 0
    written: tuple[int, int] = (0, 0)


def _stamp(time_ns: int) -> tuple[int, int]:
    if time_ns < 0:
        raise ValueError("a capture can't hold stamps before its epoch")
    return time_ns >> 32, time_ns & 0xFFFF_FFFF


def _packet(interface: int, time_ns: int, payload: bytes, *, sent: bool = False) -> bytes:
    padded = payload + bytes(-len(payload) % 4)
    options = _options([(form.EPB_FLAGS, struct.pack("<I", form.EPB_OUTBOUND))]) if sent else b""
    total = 32 + len(padded) + len(options)
    high, low = _stamp(time_ns)
    head = _PACKET_HEAD.pack(form.ENHANCED_PACKET, total, interface, high, low, len(payload), len(payload))
    return b"".join((head, padded, options, struct.pack("<I", total)))


def _options(options: list[tuple[int, bytes]]) -> bytes:
    parts = [struct.pack("<HH", code, len(value)) + value + bytes(-len(value) % 4) for code, value in options]
    return b"".join(parts) + struct.pack("<HH", form.OPT_END, 0)


def _block(kind: int, body: bytes) -> bytes:
    total = 12 + len(body)
    return struct.pack("<II", kind, total) + body + struct.pack("<I", total)
