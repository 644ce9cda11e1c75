"""Captures in slices of some hundred kilobytes, each of which can be read by itself (layout: pcapng_form).

A slice is at a place of a file, of one section, whose interfaces are kept with it. Frames and marks are what
CaptureReader gives of the same file; a test holds them to that. Lines are passed over.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchcheck.capture import pcapng_form as form
from benchcheck.capture.file_window import Damage, FileWindow
from benchcheck.capture.frame_blocks import decode_frames
from benchcheck.capture.interface_block import ImpossibleStamps
from benchcheck.capture.packet_block import line_chunk, mark_of
from benchcheck.capture.packet_runs import ROW_WORDS, Chain, Packets, find_uniform, rows_of, rows_of_run
from benchcheck.capture.recording import is_sane_stamp
from benchcheck.capture.section import Section
from benchcheck.capture.time_index import Clock, Found, Piece, TimeIndex

SLICE_BYTES = 192 * 1024  # about 4,000 classic frames: read in well under a millisecond
_FEW_UNIFORM = 64  # blocks of one length, below which a chain of any lengths is quicker
_MARGIN_BYTES = 2048  # a packet block that begins in a slice ends within it


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a slice is: bytes `offset` to before `end` of a file, and the clock there."""

    file: int
    offset: int
    end: int
    order: str
    section: Section
    clock: Clock


class CaptureSlices(TimeIndex):
    """The files of one capture (its parts, or one alone). Raises InputError where one can't be opened."""

    def __init__(self, paths: list[Path], slice_bytes: int = SLICE_BYTES) -> None:
        super().__init__()
        self._paths = paths
        self._slice_bytes = slice_bytes
        self._places: list[_Place] = []
        self._section = Section(self, "<")
        self._number = self._offset = self._stopped = 0
        self._ahead: FileWindow | None = None  # on what is looked through
        self._back: tuple[int, FileWindow] | None = None  # on what is read again
        for before, path in zip(["0000", *(path.stem[-4:] for path in paths)], paths, strict=False):
            if len(paths) > 1 and int(path.stem[-4:]) != int(before) + 1:
                self.notes.append(f"a part before {path.name} is missing: nothing is known of its time")

    def close(self) -> None:
        for window in (self._ahead, self._back and self._back[1]):
            if window is not None:
                window.close()
        self._ahead = self._back = None

    def _look(self) -> Found | None:
        while self._number < len(self._paths):
            number, start, before = self._number, self._offset, self.clock
            if self._ahead is None:
                self._ahead = FileWindow(self._paths[number])
            window = self._ahead
            if start >= window.size:
                self._next_file()
                continue
            found = Found()
            self._stopped, order = start, window.order
            try:
                kind, _, _ = window.block(start)
                if kind == form.SECTION_HEADER:
                    window.forget()
                    self._section, order = Section(self, window.order), window.order
                self._offset = self._walk(window, start, start + self._slice_bytes, self._section, found, learn=True)
            except (Damage, OSError) as trouble:
                where = f"{self._paths[number].name}: " if len(self._paths) > 1 else ""
                what = "damaged" if isinstance(trouble, Damage) else "can't be read"
                self.damaged(f"{where}{what} from byte {self._stopped} on ({trouble}); what stands before was read")
                self._next_file()
            self._places.append(_Place(number, start, self._stopped, order, self._section, before))
            return found
        return None

    def _next_file(self) -> None:
        if self._ahead is not None:
            self._ahead.close()
        self._number, self._offset, self._ahead = self._number + 1, 0, None

    def read(self, number: int) -> Piece:
        place = self._places[number]
        if self._back is None or self._back[0] != place.file:
            if self._back is not None:
                self._back[1].close()
            self._back = place.file, FileWindow(self._paths[place.file])
        window = self._back[1]
        if window.order != place.order:
            window.forget()
            window.order = place.order
        kept = self.clock, self.bad_records, self._stopped
        self.clock = place.clock
        found = Found()
        try:
            self._walk(window, place.offset, place.end, place.section, found, learn=False)
        except (Damage, OSError):
            pass  # as far as it can still be read
        finally:
            self.clock, self.bad_records, self._stopped = kept
        return found.piece()

    def _walk(self, window: FileWindow, start: int, stop: int, section: Section, found: Found, *, learn: bool) -> int:
        """Take what begins from byte `start` to before `stop` or a new section; gives where that ended."""
        end = min(stop + _MARGIN_BYTES, window.size)
        if not window.start <= start or window.start + 4 * len(window.words) < end - 4:
            window.bring(start)
        words, zero = window.words, window.start
        chain: Chain | None = None
        here = start
        while True:
            self._stopped = here
            if here >= min(stop, window.size):
                return here
            place = (here - zero) // 4
            if place + ROW_WORDS <= len(words) and words[place] == form.ENHANCED_PACKET:
                most = -(-(stop - here) // max(int(words[place + 1]), 1))
                run = find_uniform(words, place, most) if chain is None else None
                if run is not None and len(run) >= _FEW_UNIFORM:
                    starts = place + run.blocks.shape[1] * np.arange(len(run))
                    self._packets(Packets(words, starts, rows_of_run(run), window.order == ">"), section, found)
                    here += 4 * run.blocks.size
                    continue
                if chain is None:
                    chain = Chain(words[: (end - zero) // 4], place)
                starts, behind = chain.run(place)
                if len(starts):
                    count = int(np.searchsorted(starts, (stop - zero + 3) // 4))
                    inside = starts[:count]
                    self._packets(Packets(words, inside, rows_of(words, inside), window.order == ">"), section, found)
                    here = zero + 4 * (int(starts[count]) if count < len(starts) else behind)
                    continue
            kind, body, behind = window.block(here)
            if kind == form.SECTION_HEADER and here != start:
                return here
            try:
                if kind == form.INTERFACE_DESCRIPTION and learn:
                    section.add(body)
                elif kind == form.ENHANCED_PACKET:
                    self._packet(body, section, found, window.order)
            except struct.error:
                self.bad_records += 1
            except ImpossibleStamps as error:
                raise Damage(str(error)) from error
            here = behind

    def _packets(self, packets: Packets, section: Section, found: Found) -> None:
        """A run of packet blocks: frames as columns, marks by themselves behind them."""
        is_frame = section.of_buses(packets.rows[:, 2])
        others = np.flatnonzero(~is_frame).tolist()
        leading = 0  # what stands before the first frame may be the recording's first record
        while self.clock.first_ns is None and leading < len(others) and others[leading] == leading:
            leading += 1
        for k in others[:leading]:
            self._lone(packets, k, section, found)
        self._frames(packets.some(is_frame) if others else packets, section, found)
        for k in others[leading:]:
            self._lone(packets, k, section, found)

    def _lone(self, packets: Packets, k: int, section: Section, found: Found) -> None:
        number = int(packets.rows[k, 2])
        is_line = number < len(section.interfaces) and section.interfaces[number].link == form.LINK_SERIAL
        if is_line and self.clock.first_ns is not None:
            return
        order = ">" if packets.swapped else "<"
        start = int(packets.starts[k])
        body = packets.words[start + 2 : start + int(packets.rows[k, 1]) // 4 - 1]
        self._packet(body.astype(order + "u4").tobytes(), section, found, order)

    def _frames(self, packets: Packets, section: Section, found: Found) -> None:
        if not len(packets):
            return
        stamps = None if section.stamps_are_nanoseconds else section.stamps
        batch, kept = decode_frames(packets, section.bus_of(packets.rows[:, 2]), stamps, section.is_sent)
        if kept is not None:
            self.bad_records += len(packets) - len(kept)
        self.clock = found.add(batch, self.clock)

    def _packet(self, body: bytes, section: Section, found: Found, order: str) -> None:
        """A packet by itself. Raises struct.error where too little is in it."""
        number, high, low, caught, _original = struct.unpack_from(order + "IIIII", body)
        if number >= len(section.interfaces) or 20 + caught > len(body):
            self.bad_records += 1
            return
        interface = section.interfaces[number]
        if interface.link == form.LINK_CAN:
            block = struct.pack(order + "II", form.ENHANCED_PACKET, len(body) + 12) + body
            padded = block + bytes(max(4, 4 * ROW_WORDS - len(block)))
            words = np.frombuffer(padded, order + "u4").astype(np.uint32)
            one = Packets(words, np.zeros(1, np.int64), words[None, :ROW_WORDS], order == ">")
            self._frames(one, section, found)
            return
        time_ns, payload = interface.time_ns((high << 32) | low), body[20 : 20 + caught]
        if interface.link not in (form.LINK_MARKS, form.LINK_SERIAL) or not is_sane_stamp(time_ns):
            return
        if interface.link == form.LINK_MARKS:
            mark = mark_of(time_ns, payload)
            if mark is not None:
                self.clock = found.add(mark, self.clock)
        elif line_chunk(0, time_ns, payload) is not None:
            self.clock = self.clock.begun(time_ns)
