"""Lines of a simple text protocol out of raw bytes, in any cut: ended by LF, the first word is the type.

A line whose bytes are all printable ASCII (or tabs) and that begins with a word is counted under that word; any other
line that is not blank is garbled. A CR before the LF belongs to the line end.
"""

from __future__ import annotations

import re

from benchcheck.traffic.lines.line_splitter import LineSplitter
from benchcheck.traffic.lines.nmea import Sentence, SentenceResult

_LONGEST_LINE = 4096  # bounds what is kept of a line that never ends
_LINE = re.compile(rb"[\x20-\x7e\t]*\Z")
_WORD = re.compile(rb"[A-Za-z0-9_.:$!+-]{1,24}(?=[\s,;=*]|\Z)")


class TextLineParser:
    """Fed bytes as they come; hands out the lines that were ended."""

    def __init__(self) -> None:
        self._lines = LineSplitter(b"\n", _LONGEST_LINE)

    def feed(self, data: bytes) -> list[Sentence]:
        return [sentence for line in self._lines.feed(data) for sentence in _held(line)]

    def flush(self) -> list[Sentence]:
        """The last line, which has no end: for a file that was read to its end."""
        return _held(self._lines.flush())


def _held(ended: bytes | None) -> list[Sentence]:
    if ended is None:
        return [Sentence(SentenceResult.OTHER, "", b"")]
    line = ended.strip(b" \t\r\0")
    if not line:
        return []
    word = _WORD.match(line) if _LINE.match(line) else None
    if word is None:
        return [Sentence(SentenceResult.OTHER, "", line)]
    return [Sentence(SentenceResult.NO_CHECKSUM, word[0].decode("ascii"), line)]
