"""Lines out of raw bytes in any cut; one that is longer than any line can be is not kept, only told of."""

from __future__ import annotations

import re


class LineSplitter:
    """ends     the bytes each of which ends a line
    longest  bytes of the longest line
    """

    def __init__(self, ends: bytes, longest: int) -> None:
        self._longest = longest
        self._end = re.compile(b"[" + re.escape(ends) + b"]")
        self._pending = b""
        self._too_long = False

    def feed(self, data: bytes) -> list[bytes | None]:
        """The lines that `data` ends, without their ends; None for each that was too long."""
        *lines, rest = self._end.split(data)
        found = [self._ended(line) for line in lines]
        self._keep(rest)
        return found

    def flush(self) -> bytes | None:
        """What stands in the last line, which has no end: for a file that was read to its end."""
        return self._ended(b"")

    def _keep(self, more: bytes) -> None:
        if self._too_long or len(self._pending) + len(more) > self._longest:
            self._too_long, self._pending = True, b""
        else:
            self._pending += more

    def _ended(self, more: bytes) -> bytes | None:
        self._keep(more)
        line = None if self._too_long else self._pending
        self._pending, self._too_long = b"", False
        return line
