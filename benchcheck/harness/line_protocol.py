"""A text protocol of serial lines, as the profile describes it: where lines end, what one must have, how it is summed."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from benchcheck.words.errors import Place

CHECK_INPUT = b"123456789"
"""The characters of which the published check value of a checksum is told."""


class ChecksumKind(StrEnum):
    NONE = "none"
    XOR = "xor"  # exclusive or of the bytes
    SUM = "sum"  # sum of the bytes, modulo 256
    CRC16 = "crc16"


@dataclass(frozen=True, slots=True)
class Crc16:
    """A cyclic redundancy check of 16 bits.

    polynomial  without its highest term, the term of x^15 first: 0x1021
    initial     what the register begins with
    reflected   whether bytes go in and the result comes out lowest bit first
    final_xor   what the result is combined with at the end
    """

    polynomial: int
    initial: int = 0
    reflected: bool = False
    final_xor: int = 0

    def of(self, data: bytes) -> int:
        """The check of `data`, 0 to 0xFFFF; bit by bit, as lines are short."""
        register = self.initial
        if self.reflected:
            polynomial, register = _mirrored(self.polynomial), _mirrored(register)
            for byte in data:
                register ^= byte
                for _ in range(8):
                    register = register >> 1 ^ (polynomial if register & 1 else 0)
        else:
            for byte in data:
                register ^= byte << 8
                for _ in range(8):
                    register = (register << 1 & 0xFFFF) ^ (self.polynomial if register & 0x8000 else 0)
        return register ^ self.final_xor


@dataclass(frozen=True, slots=True)
class Checksum:
    """How a line is summed, and where the sum stands: as hexadecimal digits at the end of the line.

    after    characters right before the digits; not summed. Empty: the digits follow at once
    begin    characters with which every line begins and that are not summed; empty: all of it is
    """

    kind: ChecksumKind = ChecksumKind.NONE
    after: bytes = b""
    begin: bytes = b""
    crc: Crc16 | None = None

    @property
    def digits(self) -> int:
        return {ChecksumKind.NONE: 0, ChecksumKind.CRC16: 4}.get(self.kind, 2)

    def of(self, data: bytes) -> int:
        """The sum of these bytes."""
        if self.kind is ChecksumKind.CRC16 and self.crc is not None:
            return self.crc.of(data)
        if self.kind is ChecksumKind.SUM:
            return sum(data) & 0xFF
        value = 0
        for byte in data:
            value ^= byte
        return value


@dataclass(frozen=True, slots=True)
class TextProtocol:
    """One protocol of the profile; `pattern` is in the form of `line_pattern`, held against a line without its sum."""

    name: str
    delimiter: bytes
    pattern: str
    checksum: Checksum = Checksum()
    place: Place = Place("harness.toml")

    @property
    def told(self) -> str:
        """All of it in one line, so that two versions can be compared."""
        crc = self.checksum.crc
        parts = [f"{self.pattern!r} ended by {self.delimiter!r}", f"checksum {self.checksum.kind.value}"]
        if self.checksum.kind is not ChecksumKind.NONE:
            parts.append(f"behind {self.checksum.after!r}, lines begin with {self.checksum.begin!r}")
        if crc is not None:
            order = "reflected" if crc.reflected else "not reflected"
            parts.append(f"0x{crc.polynomial:04X} from 0x{crc.initial:04X}, {order}, xor 0x{crc.final_xor:04X}")
        return ", ".join(parts)


def _mirrored(value: int) -> int:
    """The 16 bits in the other order."""
    return int(f"{value:016b}"[::-1], 2)
