"""What the units say on their serial lines: plausible sentences with a good checksum, or lines of text."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import reduce

from benchcheck.harness.line_pattern import fitting
from benchcheck.harness.line_protocol import ChecksumKind, TextProtocol
from benchcheck.harness.model import Link


def line_of(link: Link, kind: str, moment_s: float) -> bytes:
    """One sentence or line of a link, with its line end."""
    if link.described is not None:
        return described_line(link.described, kind, moment_s)
    return sentence(link.protocol, kind, moment_s)


def described_line(protocol: TextProtocol, kind: str, moment_s: float) -> bytes:
    """One line of a protocol that the profile describes: its digits go on with time, its checksum is right."""
    tick = int(moment_s * 10)
    said = 0

    def pick(among: Sequence[int]) -> int:
        nonlocal said
        said += 1
        return among[(tick // said + said) % len(among)]

    body, checksum = fitting(protocol.pattern, kind, pick), protocol.checksum
    if checksum.kind is ChecksumKind.NONE:
        return body + protocol.delimiter
    value = checksum.of(body[len(checksum.begin) :])
    return body + checksum.after + b"%0*X" % (checksum.digits, value) + protocol.delimiter


def sentence(protocol: str, kind: str, moment_s: float) -> bytes:
    """One sentence of the type `kind` as said at `moment_s` seconds, with its line end.

    protocol  `nmea0183` (kind `GPGGA`), or `text` (kind is the first word)
    """
    if protocol == "nmea0183":
        return nmea(kind, moment_s)
    value = 50 + 20 * math.sin(moment_s / 7)
    return f"{kind} {value:.2f} {int(moment_s * 10) % 10000:04d}\r\n".encode("ascii", "replace")


def nmea(kind: str, moment_s: float) -> bytes:
    """`$kind,…*hh` CR LF; hh is the exclusive-or of what stands between $ and * (IEC 61162-1)."""
    body = f"{kind},{_FIELDS.get(kind[-3:], _plain)(moment_s)}"
    return f"${body}*{checksum(body):02X}\r\n".encode("ascii", "replace")


def checksum(body: str) -> int:
    """Exclusive-or of the characters between `$` and `*`."""
    return reduce(lambda sum_, byte: sum_ ^ byte, body.encode("ascii", "replace"), 0)


def _clock(t: float) -> str:
    whole = int(t) % 86400
    return f"{whole // 3600:02d}{whole // 60 % 60:02d}{whole % 60:02d}.{int(t * 100) % 100:02d}"


def _place(t: float) -> str:
    """A launch that goes up and down an invented stretch of water."""
    return f"57{18.4 + 0.2 * math.sin(t / 60):07.4f},N,018{52.6 + 0.2 * math.cos(t / 60):07.4f},E"


def _course(t: float) -> float:
    return (90 + 40 * math.sin(t / 30)) % 360


def _speed(t: float) -> float:
    return 4.5 + 0.5 * math.sin(t / 11)


def _depth(t: float) -> float:
    return 9 + 3 * math.sin(t / 13)


def _plain(t: float) -> str:
    return f"{20 + 5 * math.sin(t / 9):.2f},{int(t) % 1000}"


_FIELDS: dict[str, Callable[[float], str]] = {
    "GGA": lambda t: f"{_clock(t)},{_place(t)},1,09,0.9,3.2,M,46.5,M,,",
    "GLL": lambda t: f"{_place(t)},{_clock(t)},A,A",
    "RMC": lambda t: f"{_clock(t)},A,{_place(t)},{_speed(t):05.1f},{_course(t):05.1f},120631,,,A",
    "VTG": lambda t: f"{_course(t):.1f},T,,M,{_speed(t):.1f},N,{_speed(t) * 1.852:.1f},K,A",
    "ZDA": lambda t: f"{_clock(t)},12,06,2031,00,00",
    "HDT": lambda t: f"{_course(t):.1f},T",
    "HDG": lambda t: f"{_course(t):.1f},,,1.5,E",
    "ROT": lambda t: f"{3 * math.cos(t / 30):.1f},A",
    "VHW": lambda t: f"{_course(t):.1f},T,,M,{_speed(t):.1f},N,{_speed(t) * 1.852:.1f},K",
    "DBT": lambda t: f"{_depth(t) * 3.28084:.1f},f,{_depth(t):.1f},M,{_depth(t) * 0.546807:.1f},F",
    "DPT": lambda t: f"{_depth(t):.1f},0.4",
    "MTW": lambda t: f"{11 + math.sin(t / 100):.1f},C",
    "MWV": lambda t: f"{(t * 2) % 360:.1f},R,{5 + math.sin(t / 5):.1f},N,A",
}
