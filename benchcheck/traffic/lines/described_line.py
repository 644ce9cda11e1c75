"""Lines of a text protocol that the profile describes, out of raw bytes in any cut; garbage is counted, never raised on.

A line is `good` where it has the pattern and its checksum is right, `bad_checksum` where only the sum is wrong, `no_checksum`
where the protocol has none. Everything else is `other`: a line without the pattern, one without its sum, one longer than
any line can be. Empty lines count as nothing.
"""

from __future__ import annotations

import re

from benchcheck.harness.line_pattern import line_pattern
from benchcheck.harness.line_protocol import ChecksumKind, TextProtocol
from benchcheck.traffic.lines.nmea import Sentence, SentenceResult
from benchcheck.traffic.lines.shown_bytes import shown_bytes

LONGEST_LINE = 1024
LONGEST_TYPE = 40
_HEX = re.compile(rb"[0-9A-Fa-f]+\Z")


class DescribedLineParser:
    """Fed bytes as they come; hands out the lines that were ended."""

    def __init__(self, protocol: TextProtocol) -> None:
        self._protocol = protocol
        self._pattern = line_pattern(protocol.pattern)
        self._pending = b""
        self._too_long = False

    def feed(self, data: bytes) -> list[Sentence]:
        *lines, rest = (self._pending + data).split(self._protocol.delimiter)
        found: list[Sentence] = []
        for line in lines:
            found += self._ended(line)
        # what is kept may hold the beginning of the delimiter, which is no part of the line
        tail = len(self._protocol.delimiter) - 1
        if self._too_long or len(rest) > LONGEST_LINE + tail:
            self._too_long, rest = True, rest[-tail:] if tail else b""
        self._pending = rest
        return found

    def flush(self) -> list[Sentence]:
        """The last line, which has no end: for a file that was read to its end."""
        line, self._pending = self._pending, b""
        return self._ended(line)

    def _ended(self, line: bytes) -> list[Sentence]:
        too_long, self._too_long = self._too_long or len(line) > LONGEST_LINE, False
        if too_long:
            return [Sentence(SentenceResult.OTHER, "", b"")]
        return [self._judged(line)] if line else []

    def _judged(self, line: bytes) -> Sentence:
        checksum = self._protocol.checksum
        body, summed, stated = line, b"", ""
        if checksum.kind is not ChecksumKind.NONE:
            digits = line[-checksum.digits :]
            body = line[: -checksum.digits - len(checksum.after)]
            marked = line[: -checksum.digits].endswith(checksum.after)
            if not (
                marked and body.startswith(checksum.begin) and len(digits) == checksum.digits and _HEX.match(digits)
            ):
                return Sentence(SentenceResult.OTHER, "", line)
            summed, stated = body[len(checksum.begin) :], digits.decode("ascii")
        match = self._pattern.fullmatch(body)
        kind = _shown(match[1]) if match is not None else ""
        if not kind:
            return Sentence(SentenceResult.OTHER, "", line)
        if not stated:
            return Sentence(SentenceResult.NO_CHECKSUM, kind, line)
        good = int(stated, 16) == checksum.of(summed)
        return Sentence(SentenceResult.GOOD if good else SentenceResult.BAD_CHECKSUM, kind, line)


def _shown(kind: bytes) -> str:
    """A type as text that can be shown anywhere; empty where it is none."""
    if len(kind) > LONGEST_TYPE:
        return ""
    return shown_bytes(kind)
