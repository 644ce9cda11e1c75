"""Opens files, packed with gzip or not; a packed file that was cut or damaged gives all that stands before."""

from __future__ import annotations

import io
import zlib
from pathlib import Path
from typing import IO, BinaryIO, cast

from benchcheck.words.errors import InputError

_GZIP_MAGIC = b"\x1f\x8b"
_PACKED_BYTES = 16384


class PackedDamage(Exception):
    """A packed file makes no sense from here on; what stood before was handed out."""


def open_binary(path: Path) -> IO[bytes]:
    """The file's bytes, unpacked where its name ends in `.gz`: then a read may end in PackedDamage.

    Raises InputError where it can't be opened, or is not packed as its name says.
    """
    try:
        file = path.open("rb")
    except OSError as error:
        raise InputError(f"can't be read: {error.strerror}", where=str(path)) from error
    if path.suffix.lower() != ".gz":
        return file
    if file.read(2) != _GZIP_MAGIC:
        file.close()
        raise InputError("is not packed as its name says", where=str(path), hint="Is it really a .gz file?")
    file.seek(0)
    return cast("IO[bytes]", io.BufferedReader(_Unpacked(file), _PACKED_BYTES))


class _Unpacked(io.RawIOBase):
    """Unlike the standard library's reader, which loses what it has unpacked when it meets the damage."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._unpacker = zlib.decompressobj(31)
        self._ready = b""
        self._damage = ""

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: object) -> int:
        view = cast("memoryview", buffer)
        while not self._ready:
            if self._damage:
                raise PackedDamage(self._damage)
            if not self._more():
                return 0
        count = min(len(view), len(self._ready))
        view[:count] = self._ready[:count]
        self._ready = self._ready[count:]
        return count

    def close(self) -> None:
        self._file.close()
        super().close()

    def _more(self) -> bool:
        """Unpack some more; False at the end of the file."""
        packed = self._unpacker.unused_data or self._file.read(_PACKED_BYTES)
        if not packed:
            if self._unpacker.eof:
                return False
            self._damage = "the end of the packed file is missing"
            return True
        if self._unpacker.eof:  # packed files may be joined end to end
            self._unpacker = zlib.decompressobj(31)
        before = self._unpacker.copy()
        try:
            self._ready = self._unpacker.decompress(packed)
        except zlib.error as error:
            self._damage = f"the packed file is damaged: {error}"
            self._ready = _up_to_the_damage(before, packed)
        return True


def _up_to_the_damage(unpacker: zlib._Decompress, packed: bytes) -> bytes:
    parts = []
    try:
        for place in range(len(packed)):
            parts.append(unpacker.decompress(packed[place : place + 1]))
    except zlib.error:
        pass
    return b"".join(parts)
