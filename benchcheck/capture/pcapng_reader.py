"""Reads captures: up to the damage if there is any, and says where that is."""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, cast

from benchcheck.capture import pcapng_form as form
from benchcheck.capture.recording import (
    BATCH_FRAMES,
    FrameRows,
    LineChunk,
    LineInfo,
    Mark,
    Recording,
    Traffic,
    is_sane_stamp,
    is_sound,
)
from benchcheck.words.errors import InputError
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameFlag

_CAN_HEAD = struct.Struct(">IBBBB")


class _Damage(Exception):
    """The file makes no sense from here on."""


@dataclass(slots=True)
class _Interface:
    """index is into the recording's buses or lines; a stamp counts `numerator / denominator` nanoseconds a tick."""

    link: int
    index: int
    numerator: int
    denominator: int
    offset_ns: int
    dropped: int = 0


class CaptureReader(Recording):
    """A pcapng file. Raises InputError where it can't be opened or is no pcapng file at all."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path
        self.other_records = 0  # blocks and link types that are not for us
        try:
            self._file: BinaryIO = path.open("rb")
        except OSError as error:
            raise InputError(f"can't be read: {error.strerror}", where=str(path)) from error
        if self._file.read(4) != form.MAGIC:
            self._file.close()
            raise InputError("is no pcapng capture", where=str(path), hint="It does not begin with a section header.")
        self._file.seek(0)
        self._order = "<"
        self._interfaces: list[_Interface] = []
        self._rows = FrameRows()

    def close(self) -> None:
        self._file.close()

    def __iter__(self) -> Iterator[Traffic]:
        offset = 0
        while True:
            try:
                block = self._next_block()
                if block is None:
                    break
                item = self._take(*block)
            except struct.error:  # a whole block with too little in it: the next one can be found all the same
                self.bad_records += 1
                item = None
            except _Damage as damage:
                self.damaged(f"damaged from byte {offset} on ({damage}); what stands before was read")
                break
            offset = self._file.tell()
            if item is not None or len(self._rows) >= BATCH_FRAMES:
                if len(self._rows):
                    yield self._rows.take()
                if item is not None:
                    yield item
        if len(self._rows):
            yield self._rows.take()
        for interface in self._interfaces:
            self.dropped_frames += interface.dropped
        self._interfaces = []

    def _next_block(self) -> tuple[int, bytes] | None:
        head = self._file.read(8)
        if not head:
            return None
        if len(head) < 8:
            raise _Damage("cut inside a block")
        if head[:4] == form.MAGIC:
            magic = self._file.read(4)
            self._file.seek(-len(magic), 1)
            for order in "<>":
                if len(magic) == 4 and struct.unpack(order + "I", magic)[0] == form.BYTE_ORDER_MAGIC:
                    self._order = order
                    break
            else:
                raise _Damage("a section header without its byte order")
        kind, total = struct.unpack(self._order + "II", head)
        if total < 12 or total % 4 or total > form.LONGEST_BLOCK:
            raise _Damage(f"a block of impossible length {total}")
        rest = self._file.read(total - 8)
        if len(rest) < total - 8:
            raise _Damage("cut inside a block")
        if struct.unpack(self._order + "I", rest[-4:])[0] != total:
            raise _Damage("the two lengths of a block differ")
        return kind, rest[:-4]

    def _take(self, kind: int, body: bytes) -> LineChunk | Mark | None:
        if kind == form.ENHANCED_PACKET:
            return self._packet(body)
        if kind == form.SECTION_HEADER:
            for interface in self._interfaces:
                self.dropped_frames += interface.dropped
            self._interfaces = []
        elif kind == form.INTERFACE_DESCRIPTION:
            self._interface(body)
        elif kind == form.INTERFACE_STATISTICS:
            self._statistics(body)
        else:
            self.other_records += 1
        return None

    def _interface(self, body: bytes) -> None:
        link = struct.unpack_from(self._order + "H", body)[0]
        options = dict(self._options(body[8:]))
        name = _text(options.get(form.IF_NAME, b"")) or f"interface {len(self._interfaces)}"
        words = dict(word.partition("=")[::2] for word in _text(options.get(form.IF_DESCRIPTION, b"")).split())
        speed_option = options.get(form.IF_SPEED, b"")
        speed = struct.unpack(self._order + "Q", speed_option)[0] if len(speed_option) == 8 else 0
        index = 0
        if link == form.LINK_CAN:
            index = self.bus_index(name)
            bus = self.buses[index]
            bus.bitrate = speed or bus.bitrate
            bus.data_bitrate = _positive(words.get("data_bitrate", "")) or bus.data_bitrate
        elif link == form.LINK_SERIAL:
            index = self._line_index(name)
            line = self.lines[index]
            line.protocol = words.get("protocol", "") or line.protocol
            line.baud = speed or line.baud
        resolution = (options.get(form.IF_TSRESOL) or b"\x06")[0]
        power = resolution & 0x7F
        if power > 63 or (not resolution & 0x80 and power > 18):
            raise _Damage(f"an interface with impossible stamps (resolution {resolution})")
        ticks = 2**power if resolution & 0x80 else 10**power
        offset = options.get(form.IF_TSOFFSET, b"")
        offset_ns = struct.unpack(self._order + "q", offset)[0] * 1_000_000_000 if len(offset) == 8 else 0
        self._interfaces.append(_Interface(link, index, 1_000_000_000, ticks, offset_ns))

    def _line_index(self, name: str) -> int:
        for index, line in enumerate(self.lines):
            if line.name == name:
                return index
        self.lines.append(LineInfo(name))
        return len(self.lines) - 1

    def _statistics(self, body: bytes) -> None:
        number = struct.unpack_from(self._order + "I", body)[0]
        if number >= len(self._interfaces):
            self.bad_records += 1
            return
        counts = {
            code: struct.unpack(self._order + "Q", value)[0]
            for code, value in self._options(body[12:])
            if code in (form.ISB_IFDROP, form.ISB_OSDROP) and len(value) == 8
        }
        self._interfaces[number].dropped = max(self._interfaces[number].dropped, sum(counts.values()))

    def _packet(self, body: bytes) -> LineChunk | Mark | None:
        number, high, low, caught, _original = struct.unpack_from(self._order + "IIIII", body)
        if number >= len(self._interfaces) or 20 + caught > len(body):
            self.bad_records += 1
            return None
        interface = self._interfaces[number]
        ticks = (high << 32) | low
        time_ns = ticks * interface.numerator // interface.denominator + interface.offset_ns
        payload = body[20 : 20 + caught]
        if not is_sane_stamp(time_ns):
            self.bad_records += 1
        elif interface.link == form.LINK_CAN:
            options = body[20 + caught + -caught % 4 :]
            self._frame(interface.index, time_ns, payload, sent=bool(options) and self._is_sent(options))
        elif interface.link == form.LINK_SERIAL:
            if len(payload) < 2 or payload[0] != form.SERIAL_VERSION:
                self.bad_records += 1
            else:
                return LineChunk(interface.index, time_ns, payload[1] == form.SERIAL_SENT, payload[2:])
        elif interface.link == form.LINK_MARKS:
            return self._mark(time_ns, payload)
        else:
            self.other_records += 1
        return None

    def _frame(self, bus: int, time_ns: int, payload: bytes, *, sent: bool) -> None:
        if len(payload) < 8:
            self.bad_records += 1
            return
        wire_id, length, fd, _, raw_code = _CAN_HEAD.unpack_from(payload)
        flags = FrameFlag.SENT.value if sent else 0
        flags |= FrameFlag.EXTENDED.value if wire_id & form.CAN_EXTENDED else 0
        flags |= FrameFlag.ERROR.value if wire_id & form.CAN_ERROR else 0
        flags |= FrameFlag.REMOTE.value if wire_id & form.CAN_REMOTE else 0
        # recorders that know no FD flag write longer frames all the same
        if fd & form.FD_FRAME or (length > 8 and not wire_id & form.CAN_ERROR):
            flags |= FrameFlag.FD.value
            flags |= FrameFlag.BRS.value if fd & form.FD_BRS else 0
            flags |= FrameFlag.ESI.value if fd & form.FD_ESI else 0
        elif length == 8 and 9 <= raw_code <= 15:
            flags |= raw_code << RAW_DLC_SHIFT
        data = b"" if flags & FrameFlag.REMOTE else payload[8 : 8 + length]
        can_id = wire_id & 0x1FFF_FFFF
        if not is_sound(can_id, flags, length, len(data)):
            self.bad_records += 1
            return
        self._rows.add(time_ns, bus, can_id, flags, length, data)

    def _mark(self, time_ns: int, payload: bytes) -> Mark | None:
        try:
            body = json.loads(payload)
        except (ValueError, RecursionError):
            body = None
        if not isinstance(body, dict) or not isinstance(body.get("kind"), str):
            self.bad_records += 1
            return None
        body = cast("dict[str, object]", body)
        return Mark(time_ns, str(body.pop("kind")), body)

    def _is_sent(self, options: bytes) -> bool:
        for code, value in self._options(options):
            if code == form.EPB_FLAGS and len(value) == 4:
                return bool(struct.unpack(self._order + "I", value)[0] & 3 == form.EPB_OUTBOUND)
        return False

    def _options(self, data: bytes) -> Iterator[tuple[int, bytes]]:
        place = 0
        while place + 4 <= len(data):
            code, length = struct.unpack_from(self._order + "HH", data, place)
            if code == form.OPT_END:
                return
            yield code, data[place + 4 : place + 4 + length]
            place += 4 + length + -length % 4


def _text(value: bytes) -> str:
    return value.rstrip(b"\0").decode("utf-8", "backslashreplace")


def _positive(text: str) -> int | None:
    return int(text) if text.isdecimal() and text.isascii() and 0 < len(text) < 12 and int(text) > 0 else None
