"""Writes captures: append-only, every block whole, so that a cut file reads up to its last whole block."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from pathlib import Path

from benchcheck.capture import pcapng_form as form
from benchcheck.words.errors import InputError
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameBatch, FrameFlag

_CAN_HEAD = struct.Struct(">IBBBB")
_PACKET_HEAD = struct.Struct("<IIIIIII")


class CaptureWriter:
    """A new capture file. Interfaces are added before traffic of theirs is written; they may be added at any time.

    Raises InputError where the file is there already: a capture is evidence and is never written over.
    """

    def __init__(self, path: Path, *, hardware: str = "", application: str = "benchcheck") -> None:
        try:
            self._file = path.open("xb")
        except FileExistsError as error:
            raise InputError("is there already", where=str(path), hint="Name a new file; captures stay.") from error
        except OSError as error:
            raise InputError(f"can't be written: {error.strerror}", where=str(path)) from error
        self.path = path
        self._links: list[int] = []
        self._marks: int | None = None
        options = [(form.SHB_USERAPPL, application.encode())]
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

    def write_frames(self, interface: int, batch: FrameBatch) -> None:
        """Frames of one bus (the column `bus` is not looked at), in order."""
        self._expect(interface, form.LINK_CAN)
        rows = zip(
            batch.time_ns.tolist(),
            batch.can_id.tolist(),
            batch.flags.tolist(),
            batch.length.tolist(),
            map(bytes, batch.data),
            strict=True,
        )
        blocks = []
        for time_ns, can_id, flags, length, data in rows:
            wire_id = can_id
            wire_id |= form.CAN_EXTENDED if flags & FrameFlag.EXTENDED else 0
            wire_id |= form.CAN_REMOTE if flags & FrameFlag.REMOTE else 0
            wire_id |= form.CAN_ERROR if flags & FrameFlag.ERROR else 0
            fd = form.FD_FRAME if flags & FrameFlag.FD else 0
            fd |= form.FD_BRS if flags & FrameFlag.BRS else 0
            fd |= form.FD_ESI if flags & FrameFlag.ESI else 0
            head = _CAN_HEAD.pack(wire_id, length, fd, 0, (flags >> RAW_DLC_SHIFT) & 15)
            payload = head if flags & FrameFlag.REMOTE else head + data[:length]
            blocks.append(_packet(interface, time_ns, payload, sent=bool(flags & FrameFlag.SENT)))
        self._write(b"".join(blocks))

    def write_bytes(self, interface: int, time_ns: int, data: bytes, *, sent: bool = False) -> None:
        """Bytes of a serial line as they were read, or sent by this bench."""
        self._expect(interface, form.LINK_SERIAL)
        direction = form.SERIAL_SENT if sent else form.SERIAL_RECEIVED
        payload = bytes((form.SERIAL_VERSION, direction)) + data
        self._write(_packet(interface, time_ns, payload, sent=sent))

    def mark(self, time_ns: int, kind: str, body: Mapping[str, object] | None = None) -> None:
        """Note something on the capture's clock, as `power_on`."""
        if self._marks is None:
            self._marks = self._add(form.LINK_MARKS, "marks", None, [])
        text = json.dumps({**(body or {}), "kind": kind}, allow_nan=False, sort_keys=True)
        self._write(_packet(self._marks, time_ns, text.encode()))

    def statistics(self, interface: int, time_ns: int, *, received: int, dropped: int) -> None:
        """Running totals of one interface: what was received, and what the recorder is known to have dropped."""
        options = _options(
            [(form.ISB_IFRECV, struct.pack("<Q", received)), (form.ISB_IFDROP, struct.pack("<Q", dropped))]
        )
        body = struct.pack("<III", interface, *_stamp(time_ns)) + options
        self._write(_block(form.INTERFACE_STATISTICS, body))

    def flush(self) -> None:
        """Hand everything to the operating system."""
        self._file.flush()

    def close(self) -> None:
        self._file.close()

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
        return len(self._links) - 1

    def _expect(self, interface: int, link: int) -> None:
        if not 0 <= interface < len(self._links) or self._links[interface] != link:
            raise ValueError(f"interface {interface} is not one of link type {link}")

    def _write(self, data: bytes) -> None:
        self._file.write(data)


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
