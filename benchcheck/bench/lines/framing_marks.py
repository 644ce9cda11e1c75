"""Framing errors and breaks that the system marks within the bytes of a serial port (POSIX `PARMRK`).

A byte that came with a framing or parity error stands as FF 00 and the byte, a break as FF 00 00, and an FF that came well as FF FF
(POSIX.1-2017, XBD 11.2.2, Input Modes). No port is touched by the decoder.
"""

from __future__ import annotations

import re
from typing import Any

_MARK = re.compile(rb"\xff(?:\xff|\x00[\x00-\xff])", re.DOTALL)
_LONGEST = 3


class MarkDecoder:
    """Fed bytes in any cut; gives the bytes as they came over the wire, and counts what was marked.

    errors  bytes with a framing or parity error; they stay among the bytes
    breaks  breaks; they are no bytes
    """

    def __init__(self) -> None:
        self.errors = 0
        self.breaks = 0
        self._rest = b""

    def feed(self, data: bytes) -> bytes:
        text = self._rest + data
        self._rest = b""
        if b"\xff" not in text:
            return text
        # a mark that is not whole yet stays for the next time: marks are found from the left, so they can't overlap
        kept = bytearray()
        place = 0
        while (at := text.find(b"\xff", place)) >= 0:
            kept += text[place:at]
            mark = _MARK.match(text, at)
            if mark is None:
                if len(text) - at < _LONGEST and text[at + 1 : at + 2] in (b"", b"\x00"):
                    self._rest = text[at:]
                    return bytes(kept)
                kept += b"\xff"  # no mark: a system that does not double it
                place = at + 1
                continue
            kept += self._meant(mark[0])
            place = mark.end()
        kept += text[place:]
        return bytes(kept)

    def _meant(self, mark: bytes) -> bytes:
        if mark == b"\xff\xff":
            return b"\xff"
        if mark[2:] == b"\x00":
            self.breaks += 1
            return b""
        self.errors += 1
        return mark[2:]


def ask_for_marks(port: Any) -> bool:
    """Ask the system to mark framing errors on an open port; whether it does. A port that has no such setting is left."""
    try:
        import termios
    except ImportError:  # not a POSIX system
        return False
    try:
        number = port.fileno()
        settings = termios.tcgetattr(number)
        settings[0] = (settings[0] | termios.PARMRK | termios.INPCK) & ~(
            termios.IGNPAR | termios.IGNBRK | termios.ISTRIP
        )
        settings[0] &= ~termios.BRKINT
        termios.tcsetattr(number, termios.TCSANOW, settings)
        return bool(termios.tcgetattr(number)[0] & termios.PARMRK)
    except (termios.error, OSError, AttributeError, TypeError, ValueError):
        return False
