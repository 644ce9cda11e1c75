"""A capture file as words, a piece at a time, and block by block where each is looked at by itself.

Pieces are read into one buffer, again and again the same. To map them is no faster: what a map saves in copying it loses
where each page is met for the first time, and the copy leaves the piece in the processor's cache (26 to 28 ns a frame
read, 26 to 29 mapped, with all that becomes of it). But what is mapped ends the program without a word (SIGBUS) where
the medium is pulled out or the file is cut, and a read ends in an error.
"""

from __future__ import annotations

import os
import struct
from pathlib import Path

import numpy as np

from benchcheck.capture import pcapng_form as form
from benchcheck.capture.packet_runs import Words
from benchcheck.words.errors import InputError

WINDOW_BYTES = 3 * 1024 * 1024  # 65,536 classic frames with 8 bytes of data


class Damage(Exception):
    """The file makes no sense from here on."""


class FileWindow:
    """A file as it is when it is opened; what is appended later is not read.

    words   uint32[m]  the piece that was brought last, in this machine's byte order; good until the next is brought
    start   the byte of the file at which it begins
    order   "<" or ">", the byte order of the section that is read

    Raises InputError where the file can't be opened.
    """

    def __init__(self, path: Path) -> None:
        try:
            self._file = path.open("rb")
        except OSError as error:
            raise InputError(f"can't be read: {error.strerror}", where=str(path)) from error
        self.size = self._opened_size = os.fstat(self._file.fileno()).st_size
        self.order = "<"
        self.words: Words = np.zeros(0, np.uint32)
        self.start = 0
        self._buffer: Words = np.empty(0, np.uint32)

    def head(self, count: int) -> bytes:
        """The first bytes."""
        self._file.seek(0)
        return self._file.read(count)

    def close(self) -> None:
        self.forget()
        self._file.close()

    def forget(self) -> None:
        """Have no piece: what was brought was of another byte order."""
        self.words = np.zeros(0, np.uint32)

    def bring(self, offset: int) -> None:
        """The piece that begins at `offset`; no word where the file ends there. Raises OSError."""
        self._look_for_size()
        self.start = offset
        count = max(0, min(WINDOW_BYTES, self.size - offset) // 4)
        if len(self._buffer) < count:
            self._buffer = np.empty(count, np.uint32)
        self._file.seek(offset)
        found = self._file.readinto(self._buffer[:count].data.cast("B")) // 4 if count else 0
        self.words = self._buffer[:found].view(self.order + "u4").astype(np.uint32, copy=False)

    def block(self, offset: int) -> tuple[int, bytes, int]:
        """(type, body, where the next one begins) of the block at `offset`. Raises Damage, OSError."""
        self._file.seek(offset)
        head = self._file.read(12)
        if len(head) < 8:
            raise self._cut()
        if head[:4] == form.MAGIC:
            for order in "<>":
                if len(head) == 12 and struct.unpack(order + "I", head[8:])[0] == form.BYTE_ORDER_MAGIC:
                    self.order = order
                    break
            else:
                raise Damage("a section header without its byte order")
        kind, total = struct.unpack(self.order + "II", head[:8])
        if total < 12 or total % 4 or total > form.LONGEST_BLOCK:
            raise Damage(f"a block of impossible length {total}")
        rest = head[8:] + self._file.read(total - 12)
        if len(rest) < total - 8 or offset + total > self.size:
            raise self._cut()
        if struct.unpack(self.order + "I", rest[-4:])[0] != total:
            raise Damage("the two lengths of a block differ")
        return kind, rest[:-4], offset + total

    def _look_for_size(self) -> None:
        self.size = min(self.size, os.fstat(self._file.fileno()).st_size)

    def _cut(self) -> Damage:
        self._look_for_size()
        if self.size < self._opened_size:
            return Damage(f"cut to {self.size:,} bytes while it was read")
        return Damage("cut inside a block")
