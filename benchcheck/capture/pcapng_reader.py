"""Reads captures: up to the damage if there is any, and says where that is.

The file comes piece by piece, so that memory does not grow with it (file_window). Frames become columns without a Python
object each (plain_frames, frame_blocks); every other block is looked at by itself.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchcheck.capture import pcapng_form as form
from benchcheck.capture.file_window import Damage, FileWindow
from benchcheck.capture.frame_blocks import decode_frames
from benchcheck.capture.frame_columns import FrameColumns
from benchcheck.capture.interface_block import ImpossibleStamps
from benchcheck.capture.packet_block import line_chunk, mark_of
from benchcheck.capture.packet_runs import ROW_WORDS, Chain, Packets, UniformRun, find_uniform, rows_of, rows_of_run
from benchcheck.capture.plain_frames import PLAIN_BYTES, decode_plain, is_plain, looks_plain, read_plain
from benchcheck.capture.recording import CAPTURE_FRAMES, Mark, Recording, Traffic, is_sane_stamp
from benchcheck.capture.section import Section
from benchcheck.words import recorder_gap
from benchcheck.words.errors import InputError
from benchcheck.words.frames import FrameBatch
from benchcheck.words.recorder_gap import RecorderGap

_FEW_UNIFORM = 512


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
        self._window = FileWindow(path)
        if self._window.head(4) != form.MAGIC:
            self._window.close()
            raise InputError("is no pcapng capture", where=str(path), hint="It does not begin with a section header.")
        self._section = Section(self, "<")
        self._frames = FrameColumns()

    def close(self) -> None:
        self._window.close()

    def __iter__(self) -> Iterator[Traffic]:
        window = self._window
        offset = 0
        chain: Chain | None = None
        try:
            while offset < window.size:
                if not window.start <= offset < window.start + 4 * len(window.words) - 4 * ROW_WORDS:
                    window.bring(offset)
                    chain = None
                words, place = window.words, (offset - window.start) // 4
                if place + 1 < len(words) and words[place] == form.ENHANCED_PACKET:
                    plain = self._take_plain(words, place)
                    if plain:
                        yield from self._frames.full()
                        offset += PLAIN_BYTES * plain
                        continue
                    if chain is None:
                        run = self._long_run(words, place)
                        if run is not None:
                            yield from self._take_run(run, words, place)
                            offset += 4 * run.blocks.size
                            continue
                        chain = Chain(words, place)
                    starts, end = chain.run(place)
                    if len(starts):
                        yield from self._take_packets(Packets(words, starts, rows_of(words, starts), self._swapped))
                        offset = window.start + 4 * end
                        continue
                kind, body, offset = window.block(offset)
                if kind == form.SECTION_HEADER:
                    chain = None
                    window.forget()  # its byte order may be another one
                yield from self._take(kind, body)
        except Damage as damage:
            self.damaged(f"damaged from byte {offset} on ({damage}); what stands before was read")
        except OSError as error:
            self.damaged(f"can't be read from byte {offset} on ({error.strerror}); what stands before was read")
        yield from self._frames.take()
        self._section.end()
        self._section = Section(self, window.order)
        if self.other_records:
            records = "1 record was" if self.other_records == 1 else f"{self.other_records:,} records were"
            self.notes.append(f"{records} of kinds or link types that are not for benchcheck, and passed over")

    @property
    def _swapped(self) -> bool:
        return self._window.order == ">"

    def _take_plain(self, words: NDArray[np.uint32], place: int) -> int:
        """How many frames were taken at once from `place` on, by the compiled loop; 0 where another way must be found."""
        number = int(words[place + 2]) if place + 2 < len(words) else -1
        if self._swapped or not self._section.is_bus(number):
            return 0
        interface = self._section.interfaces[number]
        if not interface.in_nanoseconds or not looks_plain(words, place, _FEW_UNIFORM):
            return 0
        room = self._frames.room(min(CAPTURE_FRAMES, (len(words) - place) // (PLAIN_BYTES // 4)))
        count = read_plain(words, place, _FEW_UNIFORM, interface.index, room) if room.data.shape[1] == 8 else 0
        if count:
            self._see(room.time_ns[:count])
            self._frames.filled(count)
        return count

    def _long_run(self, words: NDArray[np.uint32], place: int) -> UniformRun | None:
        """Packet blocks of one length from `place` on; None where a few of other lengths follow."""
        run = find_uniform(words, place, CAPTURE_FRAMES)
        if run is None:
            return None
        stride = run.blocks.shape[1]
        end = place + run.blocks.size
        others_follow = end + stride <= len(words) and words[end] == form.ENHANCED_PACKET
        return None if len(run) < _FEW_UNIFORM and others_follow else run

    def _take_run(self, run: UniformRun, words: NDArray[np.uint32], place: int) -> Iterator[Traffic]:
        number = int(run.any_bit[2])
        if not self._swapped and is_plain(run) and self._section.is_bus(number):
            interface = self._section.interfaces[number]
            room = self._frames.room(len(run)) if interface.in_nanoseconds else None
            if room is not None and room.data.shape[1] == 8 and decode_plain(run, interface.index, room):
                self._see(room.time_ns)
                self._frames.filled(len(run))
                yield from self._frames.full()
                return
        starts = place + run.blocks.shape[1] * np.arange(len(run))
        yield from self._take_packets(Packets(words, starts, rows_of_run(run), self._swapped))

    def _take_packets(self, packets: Packets) -> Iterator[Traffic]:
        """The frames of the packets as columns; what is of a line or a mark by itself, in between."""
        of_bus = self._section.of_buses(packets.rows[:, 2])
        others = np.flatnonzero(~of_bus)
        if not len(others):
            every, _ = self._decode(packets)
            if len(every):
                self._see(every.time_ns)
            self._frames.add(every, 0, len(every))
            yield from self._frames.full()
            return
        frames = packets.some(of_bus)
        batch: FrameBatch | None = None
        sources = np.flatnonzero(of_bus)
        if len(frames):
            batch, kept = self._decode(frames)
            sources = sources if kept is None else sources[kept]
        if len(sources) and batch is not None and sources[0] < others[0]:
            self._see(batch.time_ns[:1])
        done = 0
        for k in others.tolist():
            if batch is not None and not self._gathered:
                upto = int(np.searchsorted(sources, k))
                self._frames.add(batch, done, upto)
                done = upto
            start = int(packets.starts[k])
            body = packets.words[start + 2 : start + int(packets.rows[k, 1]) // 4 - 1]
            yield from self._packet(body.astype(self._window.order + "u4").tobytes())
        if batch is not None:
            if len(sources) and sources[-1] > others[-1]:
                self._see(batch.time_ns[-1:])
            self._frames.add(batch, done, len(batch))
            yield from self._frames.full()

    def _decode(self, packets: Packets) -> tuple[FrameBatch, NDArray[np.int64] | None]:
        section = self._section
        stamps = None if section.stamps_are_nanoseconds else section.stamps
        batch, kept = decode_frames(packets, section.bus_of(packets.rows[:, 2]), stamps, section.is_sent)
        if kept is not None:
            self.bad_records += len(packets) - len(kept)
        return batch, kept

    def _see(self, time_ns: NDArray[np.int64]) -> None:
        """Stamps of frames, in the file's order."""
        if self.first_ns is None:
            self.first_ns = int(time_ns[0])
        self.last_ns = int(time_ns[-1])

    def _take(self, kind: int, body: bytes) -> Iterator[Traffic]:
        try:
            if kind == form.ENHANCED_PACKET:
                yield from self._packet(body)
            elif kind == form.SECTION_HEADER:
                self._section.end()
                self._section = Section(self, self._window.order)
            elif kind == form.INTERFACE_DESCRIPTION:
                self._section.add(body)
            elif kind == form.INTERFACE_STATISTICS:
                self.bad_records += not self._section.statistics(body)
            else:
                self.other_records += 1
        except struct.error:  # a whole block with too little in it: the next one can be found all the same
            self.bad_records += 1
        except ImpossibleStamps as error:
            raise Damage(str(error)) from error

    def _packet(self, body: bytes) -> Iterator[Traffic]:
        """What one packet block holds, by itself: a frame goes into the columns, as a batch of one."""
        number, high, low, caught, _original = struct.unpack_from(self._window.order + "IIIII", body)
        if number >= len(self._section.interfaces) or 20 + caught > len(body):
            self.bad_records += 1
            return
        interface = self._section.interfaces[number]
        if interface.link == form.LINK_CAN:
            yield from self._single_frame(body)
            return
        time_ns, payload = interface.time_ns((high << 32) | low), body[20 : 20 + caught]
        item: Traffic | None = None
        if interface.link not in (form.LINK_SERIAL, form.LINK_MARKS):
            self.other_records += 1
            return
        if is_sane_stamp(time_ns):
            if self.first_ns is None:
                self.first_ns = time_ns
            self.last_ns = time_ns
            is_line = interface.link == form.LINK_SERIAL
            item = line_chunk(interface.index, time_ns, payload) if is_line else self._mark(time_ns, payload)
        if item is None:
            self.bad_records += 1
            return
        if not self._gathered:
            yield from self._frames.take()
        yield item

    def _mark(self, time_ns: int, payload: bytes) -> Mark | None:
        mark = mark_of(time_ns, payload)
        gap = RecorderGap.from_mark(mark.body) if mark is not None and mark.kind == recorder_gap.MARK else None
        if gap is not None:
            self.recorder_gaps.append(gap)
            self._section.note_dropped(gap)
        return mark

    def _single_frame(self, body: bytes) -> Iterator[Traffic]:
        order, total = self._window.order, len(body) + 12
        block = struct.pack(order + "II", form.ENHANCED_PACKET, total) + body
        padded = block + bytes(max(4, 4 * ROW_WORDS - len(block)))
        words = np.frombuffer(padded, order + "u4").astype(np.uint32)
        packet = Packets(words, np.zeros(1, np.int64), words[None, :ROW_WORDS], self._swapped)
        yield from self._take_packets(packet)
