"""Reads captures: up to the damage if there is any, and says where that is.

The file is mapped piece by piece, so that memory does not grow with it. Frames become columns without a Python object
each (frame_blocks); every other block is looked at by itself.
"""

from __future__ import annotations

import json
import mmap
import os
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, cast

import numpy as np
from numpy.typing import NDArray

from benchcheck.capture import pcapng_form as form
from benchcheck.capture.frame_blocks import (
    ROW_WORDS,
    Chain,
    Packets,
    Words,
    decode_frames,
    find_uniform,
    rows_of,
    uniform_rows,
)
from benchcheck.capture.interface_block import ImpossibleStamps, Interface, options_of, parse_interface, positive
from benchcheck.capture.recording import (
    CAPTURE_FRAMES,
    FrameGathering,
    LineChunk,
    LineInfo,
    Mark,
    Recording,
    Traffic,
    is_sane_stamp,
)
from benchcheck.words.errors import InputError
from benchcheck.words.frames import FrameBatch

_WINDOW_BYTES = 3 * 1024 * 1024  # 65,536 classic frames with 8 bytes of data
_FEW_UNIFORM = 512


class _Damage(Exception):
    """The file makes no sense from here on."""


class CaptureReader(Recording):
    """A pcapng file as it is now; what is appended later is not read.

    gathered  frames may come before line chunks and marks that stand before them in the file, so that batches stay
              large where lines are recorded beside buses; by default everything comes in the file's order

    Raises InputError where it can't be opened or is no pcapng file at all.
    """

    def __init__(self, path: Path, *, gathered: bool = False) -> None:
        super().__init__()
        self.path = path
        self.other_records = 0  # blocks and link types that are not for us
        self._gathered = gathered
        try:
            self._file: BinaryIO = path.open("rb")
        except OSError as error:
            raise InputError(f"can't be read: {error.strerror}", where=str(path)) from error
        if self._file.read(4) != form.MAGIC:
            self._file.close()
            raise InputError("is no pcapng capture", where=str(path), hint="It does not begin with a section header.")
        self._size = os.fstat(self._file.fileno()).st_size
        self._order = "<"
        self._interfaces: list[Interface] = []
        self._words: Words = np.zeros(0, np.uint32)
        self._from = 0  # byte of the file at which `_words` begins
        self._frames = FrameGathering()

    def close(self) -> None:
        self._words = np.zeros(0, np.uint32)
        self._file.close()

    def __iter__(self) -> Iterator[Traffic]:
        offset = 0
        chain: Chain | None = None
        try:
            while offset < self._size:
                if not self._from <= offset < self._from + 4 * len(self._words) - 4 * ROW_WORDS:
                    self._map(offset)
                    chain = None
                place = (offset - self._from) // 4
                if place + 1 < len(self._words) and self._words[place] == form.ENHANCED_PACKET:
                    packets, end = self._uniform(place) if chain is None else self._chained(place, chain)
                    if packets is None and chain is None:
                        chain = Chain(self._words, place)
                        packets, end = self._chained(place, chain)
                    if packets is not None:
                        yield from self._take_packets(packets)
                        offset = self._from + 4 * end
                        continue
                kind, body, offset = self._block(offset)
                if kind == form.SECTION_HEADER:
                    chain = None
                    self._words = self._words[:0]  # its byte order may be another one
                yield from self._take(kind, body)
        except _Damage as damage:
            self.damaged(f"damaged from byte {offset} on ({damage}); what stands before was read")
        except OSError as error:
            self.damaged(f"can't be read from byte {offset} on ({error.strerror}); what stands before was read")
        yield from self._frames.take()
        self._end_section()
        if self.other_records:
            records = "1 record was" if self.other_records == 1 else f"{self.other_records:,} records were"
            self.notes.append(f"{records} of kinds or link types that are not for benchcheck, and passed over")

    def _map(self, offset: int) -> None:
        """Bring the part of the file that begins at `offset` into `_words`."""
        self._size = min(self._size, os.fstat(self._file.fileno()).st_size)  # reading beyond the end ends the program
        count = min(_WINDOW_BYTES, self._size - offset) // 4
        self._from = offset
        if count <= 0:
            self._words = np.zeros(0, np.uint32)
            return
        skipped = offset % mmap.ALLOCATIONGRANULARITY
        mapped = mmap.mmap(self._file.fileno(), skipped + 4 * count, access=mmap.ACCESS_READ, offset=offset - skipped)
        # the mapping goes when the last array on it does
        self._words = np.frombuffer(mapped, self._order + "u4", count, skipped).astype(np.uint32, copy=False)

    def _uniform(self, place: int) -> tuple[Packets | None, int]:
        """Packet blocks of one length from `place` on and where they end; None where a few of other lengths follow."""
        words = self._words
        count = find_uniform(words, place, CAPTURE_FRAMES)
        stride = int(words[place + 1]) // 4
        end = place + count * stride
        others_follow = end + stride <= len(words) and words[end] == form.ENHANCED_PACKET
        if not count or (count < _FEW_UNIFORM and others_follow):
            return None, place
        starts = place + stride * np.arange(count)
        return Packets(words, starts, uniform_rows(words, place, count, stride), self._order == ">"), end

    def _chained(self, place: int, chain: Chain) -> tuple[Packets | None, int]:
        """Packet blocks of any lengths from `place` on and where they end; None where the chain knows none."""
        starts, end = chain.run(place)
        if not len(starts):
            return None, place
        return Packets(self._words, starts, rows_of(self._words, starts), self._order == ">"), end

    def _take_packets(self, packets: Packets) -> Iterator[Traffic]:
        """The frames of the packets as columns; what is of a line or a mark by itself, in between."""
        numbers = packets.rows[:, 2]
        first = int(numbers[0])
        if bool((numbers == first).all()) and self._is_bus(first):
            yield from self._take_frames(packets, self._interfaces[first])
            return
        known = np.array([self._is_bus(number) for number in range(len(self._interfaces))] + [False])
        of_bus = known[np.minimum(numbers, len(self._interfaces))]
        frames = packets.some(of_bus)
        others = np.flatnonzero(~of_bus)
        batch, sources = None, np.flatnonzero(of_bus)
        if len(frames):
            batch, kept = self._decode(frames)
            sources = sources if kept is None else sources[kept]
        done = 0
        for k in others.tolist():
            if batch is not None and not self._gathered:
                upto = int(np.searchsorted(sources, k))
                self._frames.add(batch, done, upto)
                done = upto
            start = int(packets.starts[k])
            body = packets.words[start + 2 : start + int(packets.rows[k, 1]) // 4 - 1]
            yield from self._packet(body.astype(self._order + "u4").tobytes())
        if batch is not None:
            self._frames.add(batch, done, len(batch))
            yield from self._frames.full()

    def _take_frames(self, packets: Packets, interface: Interface) -> Iterator[Traffic]:
        stamps = None if interface.in_nanoseconds else self._stamps
        batch, kept = decode_frames(packets, interface.index, stamps, self._is_sent)
        if kept is not None:
            self.bad_records += len(packets) - len(kept)
        self._frames.add(batch, 0, len(batch))
        yield from self._frames.full()

    def _decode(self, packets: Packets) -> tuple[FrameBatch, NDArray[np.int64] | None]:
        numbers = packets.rows[:, 2]
        index = np.array([interface.index for interface in self._interfaces], np.uint16)
        simple = all(interface.in_nanoseconds for interface in self._interfaces)
        batch, kept = decode_frames(packets, index[numbers], None if simple else self._stamps, self._is_sent)
        if kept is not None:
            self.bad_records += len(packets) - len(kept)
        return batch, kept

    def _stamps(self, packets: Packets) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        numbers = packets.rows[:, 2]
        stamps = packets.rows[:, 3].astype(np.uint64) << np.uint64(32) | packets.rows[:, 4]
        times, sane = np.zeros(len(packets), np.int64), np.zeros(len(packets), np.bool_)
        for number in np.unique(numbers).tolist():
            which = numbers == number
            times[which], sane[which] = self._interfaces[number].times_ns(stamps[which])
        return times, sane

    def _is_bus(self, number: int) -> bool:
        return number < len(self._interfaces) and self._interfaces[number].link == form.LINK_CAN

    def _block(self, offset: int) -> tuple[int, bytes, int]:
        """(type, body, where the next one begins) of the block at `offset`."""
        self._file.seek(offset)
        head = self._file.read(12)
        if len(head) < 8:
            raise _Damage("cut inside a block")
        if head[:4] == form.MAGIC:
            for order in "<>":
                if len(head) == 12 and struct.unpack(order + "I", head[8:])[0] == form.BYTE_ORDER_MAGIC:
                    self._order = order
                    break
            else:
                raise _Damage("a section header without its byte order")
        kind, total = struct.unpack(self._order + "II", head[:8])
        if total < 12 or total % 4 or total > form.LONGEST_BLOCK:
            raise _Damage(f"a block of impossible length {total}")
        rest = head[8:] + self._file.read(total - 12)
        if len(rest) < total - 8 or offset + total > self._size:
            raise _Damage("cut inside a block")
        if struct.unpack(self._order + "I", rest[-4:])[0] != total:
            raise _Damage("the two lengths of a block differ")
        return kind, rest[:-4], offset + total

    def _take(self, kind: int, body: bytes) -> Iterator[Traffic]:
        try:
            if kind == form.ENHANCED_PACKET:
                yield from self._packet(body)
            elif kind == form.SECTION_HEADER:
                self._end_section()
            elif kind == form.INTERFACE_DESCRIPTION:
                self._interface(body)
            elif kind == form.INTERFACE_STATISTICS:
                self._statistics(body)
            else:
                self.other_records += 1
        except struct.error:  # a whole block with too little in it: the next one can be found all the same
            self.bad_records += 1

    def _end_section(self) -> None:
        for interface in self._interfaces:
            self.dropped_frames += max(interface.dropped, interface.dropped_between)
        self._interfaces = []

    def _interface(self, body: bytes) -> None:
        try:
            interface = parse_interface(body, self._order, len(self._interfaces))
        except ImpossibleStamps as error:
            raise _Damage(str(error)) from error
        if interface.link == form.LINK_CAN:
            interface.index = self.bus_index(interface.name)
            bus = self.buses[interface.index]
            bus.bitrate = interface.speed or bus.bitrate
            bus.data_bitrate = positive(interface.words.get("data_bitrate", "")) or bus.data_bitrate
        elif interface.link == form.LINK_SERIAL:
            interface.index = self._line_index(interface.name)
            line = self.lines[interface.index]
            line.protocol = interface.words.get("protocol", "") or line.protocol
            line.baud = interface.speed or line.baud
        self._interfaces.append(interface)

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
            for code, value in options_of(body[12:], self._order)
            if code in (form.ISB_IFDROP, form.ISB_OSDROP) and len(value) == 8
        }
        self._interfaces[number].dropped = max(self._interfaces[number].dropped, sum(counts.values()))

    def _packet(self, body: bytes) -> Iterator[Traffic]:
        """What one packet block holds, by itself: a frame goes into the columns, as a batch of one."""
        number, high, low, caught, _original = struct.unpack_from(self._order + "IIIII", body)
        if number >= len(self._interfaces) or 20 + caught > len(body):
            self.bad_records += 1
            return
        interface = self._interfaces[number]
        if interface.link == form.LINK_CAN:
            yield from self._single_frame(body, interface)
            return
        time_ns = interface.time_ns((high << 32) | low)
        payload = body[20 : 20 + caught]
        item: Traffic | None = None
        if interface.link not in (form.LINK_SERIAL, form.LINK_MARKS):
            self.other_records += 1
        elif not is_sane_stamp(time_ns):
            self.bad_records += 1
        elif interface.link == form.LINK_MARKS:
            item = self._mark(time_ns, payload)
        elif len(payload) < 2 or payload[0] != form.SERIAL_VERSION:
            self.bad_records += 1
        else:
            item = LineChunk(interface.index, time_ns, payload[1] == form.SERIAL_SENT, payload[2:])
        if item is not None:
            if not self._gathered:
                yield from self._frames.take()
            yield item

    def _single_frame(self, body: bytes, interface: Interface) -> Iterator[Traffic]:
        total = len(body) + 12
        block = struct.pack(self._order + "II", form.ENHANCED_PACKET, total) + body
        padded = block + bytes(max(4, 4 * ROW_WORDS - len(block)))
        words = np.frombuffer(padded, self._order + "u4").astype(np.uint32)
        packet = Packets(words, np.zeros(1, np.int64), words[None, :ROW_WORDS], self._order == ">")
        yield from self._take_frames(packet, interface)

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

    def _is_sent(self, number: int, options: bytes) -> bool:
        """Whether a packet's options say that it was sent; what they say of dropped ones before it is counted."""
        sent = False
        for code, value in options_of(options, self._order):
            if code == form.EPB_FLAGS and len(value) == 4:
                sent = struct.unpack(self._order + "I", value)[0] & 3 == form.EPB_OUTBOUND
            elif code == form.EPB_DROPCOUNT and len(value) == 8:
                self._interfaces[number].dropped_between += struct.unpack(self._order + "Q", value)[0]
        return sent
