"""Frames from the text form `(1410714882.622188) can0 09F80102#36729A16021AB80D`, one line a frame.

Identifier of 3 hex digits: base; of 8: extended, or an error frame where bit 29 is set. After `#`: data; `R` and a
length: remote; `##`, a flags digit and data: FD (flag 1 bit-rate switch, 2 error state). `_` and a digit 9 to F after
8 data bytes: the length code as sent. A last word `R` or `T` tells the direction. Stamps are read as decimals, never
through a float, so they are exact to the nanosecond.
"""

from __future__ import annotations

import re
from enum import Enum
from typing import NamedTuple

from benchcheck.capture.recording import is_sane_stamp, is_sound
from benchcheck.words.frames import RAW_DLC_SHIFT, FrameFlag

_LINE = re.compile(
    rb"\((\d{1,12})(?:\.(\d{1,12}))?\)[ \t]+(\S{1,64})[ \t]+([0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})#(\S*)(?:[ \t]+([RTrt]))?\Z"
)
_COMMENTS = (b"#", b";", b"//")
_ERROR_BIT = 0x2000_0000
_EXTENDED_MASK = 0x1FFF_FFFF


class LineKind(Enum):
    SKIPPED = "skipped"  # a comment or a blank line
    BAD = "bad"


class TextFrame(NamedTuple):
    time_ns: int
    channel: bytes
    can_id: int
    flags: int
    length: int
    data: bytes


def parse_line(line: bytes) -> TextFrame | LineKind:
    """The frame of one line; never raises."""
    line = line.strip()
    found = _LINE.match(line)
    if found is None:
        return LineKind.SKIPPED if not line or line.startswith(_COMMENTS) else LineKind.BAD
    whole, decimals, channel, id_text, rest, direction = found.groups()
    # what lies below a nanosecond is cut off
    time_ns = int(whole) * 1_000_000_000 + int((decimals or b"")[:9].ljust(9, b"0"))
    can_id = int(id_text, 16)
    flags = FrameFlag.SENT.value if direction in (b"T", b"t") else 0
    if len(id_text) == 8:
        if can_id & ~(_ERROR_BIT | _EXTENDED_MASK):
            return LineKind.BAD
        flags |= FrameFlag.ERROR.value if can_id & _ERROR_BIT else FrameFlag.EXTENDED.value
        can_id &= _EXTENDED_MASK
    content = _content(rest)
    if content is None or not is_sane_stamp(time_ns):
        return LineKind.BAD
    more, length, data = content
    flags |= more
    if not is_sound(can_id, flags, length, len(data)):
        return LineKind.BAD
    return TextFrame(time_ns, channel, can_id, flags, length, data)


def _content(rest: bytes) -> tuple[int, int, bytes] | None:
    """(flags, length, data) of what stands behind the `#`."""
    flags = 0
    if rest[:1] in (b"R", b"r"):
        if len(rest) > 2 or not (rest[1:] or b"0").isdigit():
            return None
        return FrameFlag.REMOTE.value, int(rest[1:] or b"0"), b""
    if rest.startswith(b"#"):
        try:
            fd_flags = int(rest[1:2], 16)
        except ValueError:
            return None
        flags = FrameFlag.FD.value
        flags |= FrameFlag.BRS.value if fd_flags & 1 else 0
        flags |= FrameFlag.ESI.value if fd_flags & 2 else 0
        rest = rest[2:]
    elif len(rest) == 18 and rest[16:17] == b"_":
        try:
            code = int(rest[17:], 16)
        except ValueError:
            return None
        if code < 9:
            return None
        flags, rest = code << RAW_DLC_SHIFT, rest[:16]
    try:
        # bytes.fromhex would pass over blanks, but there are none in `rest`
        data = bytes.fromhex(rest.decode("ascii"))
    except ValueError:
        return None
    return flags, len(data), data
