"""From the bytes of a file to text: encodings, and files that are no text at all."""

from __future__ import annotations

import codecs

from benchcheck.words.errors import FileFault, Place

LARGEST_BYTES = 20_000_000
_KINDS = {
    b"PK\x03\x04": "a workbook or archive",
    b"\xd0\xcf\x11\xe0": "an old office document",
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a compressed file",
    b"\x89PNG": "a picture",
    b"\x7fELF": "a program",
}


def decode(file: str, data: bytes, *, lenient: bool = False) -> tuple[str | None, list[FileFault], list[str]]:
    """Text of a file, or the fault why there is none; and notes of what had to be guessed.

    UTF-8, with or without a byte order mark; UTF-16 where a byte order mark says so. With `lenient`, bytes
    that are no UTF-8 are taken as Windows-1252, which a note says.
    """
    if len(data) > LARGEST_BYTES:
        size = f"{len(data) / 1e6:.0f} MB"
        return None, [too_large(file, size)], []
    for start, kind in _KINDS.items():
        if data.startswith(start):
            hint = "Save the table as CSV (comma separated, UTF-8) and use that file."
            return None, [FileFault(Place(file), f"is {kind}, not text", hint)], []
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16"), [], [f"{file} is in UTF-16; read as such"]
        except UnicodeDecodeError:
            fault = FileFault(Place(file), "begins as UTF-16 and is no UTF-16 further on", "Save the file in UTF-8.")
            return None, [fault], []
    if b"\0" in data:
        line, column = _spot(data, data.index(b"\0"))
        hint = "This is no text file. Take a fresh copy, or save it as text again."
        return None, [FileFault(Place(file, line, column), "holds zero bytes, as binary files do", hint)], []
    try:
        return data.decode("utf-8-sig"), [], []
    except UnicodeDecodeError as error:
        line, column = _spot(data, error.start)
        if lenient:
            try:
                note = f"{file} is not in UTF-8 (line {line}, column {column}); read as Windows-1252"
                return data.decode("cp1252"), [], [note]
            except UnicodeDecodeError as again:
                line, column = _spot(data, again.start)
        what = f"byte 0x{data[error.start]:02X} is no UTF-8"
        return None, [FileFault(Place(file, line, column), what, "Save the file in UTF-8.")], []


def too_large(file: str, size: str) -> FileFault:
    most = f"{LARGEST_BYTES // 1_000_000} MB"
    return FileFault(
        Place(file), f"is {size} large, more than {most}", "Is this the right file? Leave out what is no pin table."
    )


def _spot(data: bytes, offset: int) -> tuple[int, int]:
    start = data.rfind(b"\n", 0, offset) + 1
    return data.count(b"\n", 0, offset) + 1, len(data[start:offset].decode("utf-8", "replace")) + 1
