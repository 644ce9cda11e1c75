"""Lines of a simple text protocol out of raw bytes, in any cut: ended by LF, the first word is the type.

A line whose bytes are all printable ASCII (or tabs) and that begins with a word is counted under that word; any other
line that is not blank is garbled. A CR before the LF belongs to the line end.
"""

from __future__ import annotations

import re

from benchcheck.traffic.lines.nmea import Sentence, SentenceResult

_LONGEST_LINE = 4096  # bounds what is kept of a line that never ends
_LINE = re.compile(rb"[\x20-\x7e\t]*\Z")
_WORD = re.compile(rb"[A-Za-z0-9_.:$!+-]{1,24}(?=[\s,;=*]|\Z)")


class TextLineParser:
    """Fed bytes as they come; hands out the lines that were ended."""

    def __init__(self) -> None:
        self._pending = b""
        self._too_long = False

    def feed(self, data: bytes) -> list[Sentence]:
        *lines, rest = data.split(b"\n")
        found: list[Sentence] = []
        for line in lines:
            found += self._end(line)
        self._keep(rest)
        return found

    def flush(self) -> list[Sentence]:
        """The last line, which has no end: for a file that was read to its end."""
        return self._end(b"")

    def _keep(self, more: bytes) -> None:
        if self._too_long or len(self._pending) + len(more) > _LONGEST_LINE:
            self._too_long, self._pending = True, b""
        else:
            self._pending += more

    def _end(self, more: bytes) -> list[Sentence]:
        self._keep(more)
        line, too_long = self._pending.strip(b" \t\r\0"), self._too_long
        self._pending, self._too_long = b"", False
        if too_long:
            return [Sentence(SentenceResult.OTHER, "", b"")]
        if not line:
            return []
        word = _WORD.match(line) if _LINE.match(line) else None
        if word is None:
            return [Sentence(SentenceResult.OTHER, "", line)]
        return [Sentence(SentenceResult.NO_CHECKSUM, word[0].decode("ascii"), line)]
