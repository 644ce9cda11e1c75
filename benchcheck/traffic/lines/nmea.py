"""NMEA 0183 / IEC 61162-1 sentences out of raw bytes, in any cut; garbage is counted, never raised on.

A sentence is `$` or `!`, an address (`GPGGA`, or `P` and a maker's letters), fields between commas, `*` and two
hexadecimal digits: the exclusive or of all characters between, not including, the start and the `*`. It ends at
CR or LF.

Counted as `good`, `bad_checksum` (a `*` is there but what follows is not the right value, or is cut), `no_checksum`, or
`other`: comments (`#`), junk, what stands before a sentence in its line, a sentence cut short by the next one, a line
longer than any sentence can be garbled into. Blank lines, blanks, CR and LF count as nothing, nor does a tag block
(`\\...\\` before a sentence; from memory of the standard's later editions).
"""

from __future__ import annotations

import re
from enum import StrEnum
from typing import NamedTuple

from benchcheck.traffic.lines.line_splitter import LineSplitter

LONGEST_SENTENCE = 82
"""Characters with start and CR LF (from memory of the standard). Longer ones are judged all the same, and counted."""

_LONGEST_LINE = 1024  # beyond this nothing can be a sentence; it bounds what is kept of a line that never ends

_START = re.compile(rb"[$!]")
_ADDRESS = re.compile(rb"[$!]([A-Z][A-Z0-9]{2,15})(?=[,*]|\Z)")
_CHECKSUM = re.compile(rb"\*([0-9A-Fa-f]{2})\Z")
_PRINTABLE = re.compile(rb"[\x20-\x7e]*\Z")
_TAG_BLOCK = re.compile(rb"\\[^\\]*\\\Z")
_NOISE = b" \t\0"


class SentenceResult(StrEnum):
    GOOD = "good"
    BAD_CHECKSUM = "bad_checksum"
    NO_CHECKSUM = "no_checksum"
    OTHER = "other"


class Sentence(NamedTuple):
    """`type` is the address (`GPGGA`) of whatever has the form of a sentence, its checksum right or not; else empty."""

    result: SentenceResult
    type: str
    raw: bytes


class SentenceParser:
    """Fed bytes as they come; hands out what each line held once its end has come."""

    def __init__(self) -> None:
        self._lines = LineSplitter(b"\r\n", _LONGEST_LINE)

    def feed(self, data: bytes) -> list[Sentence]:
        """What the lines that `data` ends held."""
        return [sentence for line in self._lines.feed(data) for sentence in _held(line)]

    def flush(self) -> list[Sentence]:
        """What stands in the last line, which has no end: for a file that was read to its end."""
        return _held(self._lines.flush())


def _held(line: bytes | None) -> list[Sentence]:
    return [Sentence(SentenceResult.OTHER, "", b"")] if line is None else sentences_of(line)


def sentences_of(line: bytes) -> list[Sentence]:
    """What one line without its end holds, piece by piece."""
    line = line.strip(_NOISE)
    if not line:
        return []
    start = _START.search(line)
    if start is None or line.startswith(b"#"):
        return [Sentence(SentenceResult.OTHER, "", line)]
    found: list[Sentence] = []
    before = line[: start.start()].strip(_NOISE)
    if before and not _TAG_BLOCK.match(before):
        found.append(Sentence(SentenceResult.OTHER, "", before))
    rest = line[start.start() :]
    while True:
        whole = judge_sentence(rest)
        again = _START.search(rest, 1)
        if again is None or whole.result is SentenceResult.GOOD:
            return [*found, whole]
        # another start inside: the first sentence was cut short, unless it stands whole before the second
        head = judge_sentence(rest[: again.start()].rstrip(_NOISE))
        found.append(head if head.result is SentenceResult.GOOD else Sentence(SentenceResult.OTHER, "", head.raw))
        rest = rest[again.start() :]


def judge_sentence(raw: bytes) -> Sentence:
    """One sentence from its `$` or `!` to its last character."""
    address = _ADDRESS.match(raw)
    sound = address is not None and _PRINTABLE.match(raw) is not None
    kind = address[1].decode("ascii") if address is not None else ""
    if b"*" in raw:
        stated = _CHECKSUM.search(raw)
        if stated is None or int(stated[1], 16) != checksum(raw[1 : stated.start()]):
            return Sentence(SentenceResult.BAD_CHECKSUM, kind if sound else "", raw)
        return Sentence(SentenceResult.GOOD, kind, raw) if sound else Sentence(SentenceResult.OTHER, "", raw)
    return Sentence(SentenceResult.NO_CHECKSUM, kind, raw) if sound else Sentence(SentenceResult.OTHER, "", raw)


def checksum(body: bytes) -> int:
    """Exclusive or of the characters between start and `*`."""
    width = 8 << (len(body) - 1).bit_length() if len(body) > 1 else 8
    value = int.from_bytes(body, "big")
    while width > 8:  # folded in halves: much faster than byte by byte
        width //= 2
        value = (value >> width) ^ (value & ((1 << width) - 1))
    return value
