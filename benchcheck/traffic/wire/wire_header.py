"""Kinds of frames whose bits are the same but for identifier and data, and the stuff bits and CRC of their headers.

Field widths: Bosch CAN 2.0 section 3.1.1 and ISO 11898-1, as counted in Linux `include/linux/can/length.h`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.wire.wire_tables import (
    AFTER_START_OF_FRAME,
    STATE,
    STATE_BITS,
    Crc,
    Entries,
    crc_of_bits,
    crc_of_place,
    joined,
    stuffing,
    stuffing_of,
)
from benchcheck.words.frames import FD_LENGTHS, RAW_DLC_SHIFT, FrameFlag

# up to and including the length code; of an FD frame, up to and including the BRS bit
_BASE_BITS, _EXTENDED_BITS = 19, 39
_FD_BASE_BITS, _FD_EXTENDED_BITS = 17, 36

# An extended identifier is looked up in two parts: the upper 14 bits go with SRR and IDE, the lower 15 with RTR
_LOW_BITS = 15
_LOW_MASK = (1 << _LOW_BITS) - 1


@dataclass(frozen=True, slots=True)
class Kind:
    """Everything that is fixed in a frame but its identifier and data. `code` is the length code as sent."""

    extended: bool
    fd: bool
    remote: bool
    switched: bool
    error_passive: bool
    code: int

    @property
    def data_bytes(self) -> int:
        if self.fd:
            return FD_LENGTHS[self.code]
        return 0 if self.remote else min(self.code, 8)

    @property
    def header_bits(self) -> int:
        """Without stuff bits, to the length code; of an FD frame, to the BRS bit."""
        if self.fd:
            return _FD_EXTENDED_BITS if self.extended else _FD_BASE_BITS
        return _EXTENDED_BITS if self.extended else _BASE_BITS

    def fixed_bits(self) -> list[int]:
        """The header bits behind RTR, or behind the RRS bit of an FD frame; both of them are `int(self.remote)`."""
        if self.fd:
            ide = [] if self.extended else [0]
            return [*ide, 1, 0, int(self.switched)]  # FDF, res, BRS
        return [0, 0, *_number(self.code)]  # r1 and r0, or IDE and r0; length code

    def code_bits(self) -> list[int]:
        """ESI and the length code of an FD frame."""
        return [int(self.error_passive), *_number(self.code)]


@lru_cache(4096)
def kind_of(flags: int, length: int) -> Kind | None:
    """The kind of a frame by its columns; None for an error frame, which has no bits."""
    if flags & FrameFlag.ERROR:
        return None
    fd = bool(flags & FrameFlag.FD)
    if fd:
        code = next((code for code, size in enumerate(FD_LENGTHS) if size >= length), 15)
    else:
        raw = (flags >> RAW_DLC_SHIFT) & 15
        code = raw if raw > 8 else min(length, 15)
    return Kind(
        extended=bool(flags & FrameFlag.EXTENDED),
        fd=fd,
        remote=bool(flags & FrameFlag.REMOTE) and not fd,  # there are no remote frames in FD format
        switched=fd and bool(flags & FrameFlag.BRS),
        error_passive=fd and bool(flags & FrameFlag.ESI),
        code=code,
    )


def header(kind: Kind, can_id: NDArray[np.int64]) -> tuple[Entries, Crc | None]:
    """(entry behind each header, CRC over it) for identifiers of this kind; an FD frame's length needs no CRC."""
    if not kind.extended:
        can_id = can_id & 0x7FF
        return _base_entries(kind).take(can_id), None if kind.fd else _base_crc(kind).take(can_id)
    can_id = can_id & 0x1FFFFFFF
    upper = can_id >> _LOW_BITS
    entries = _upper_entries().take(upper)
    changes = _changes((can_id << 1) | int(kind.remote), 16)
    changes |= entries & STATE
    entries = joined(entries, stuffing(16).take(changes))
    entries = joined(entries, stuffing_of_fixed(kind).take(entries & STATE))
    if kind.fd:
        return entries, None
    can_id &= _LOW_MASK
    upper_crc, lower_crc = _extended_crc()
    crc = upper_crc.take(upper)
    crc ^= lower_crc.take(can_id)
    crc ^= np.uint16(_fixed_crc(kind))
    return entries, crc


@cache
def stuffing_of_fixed(kind: Kind) -> Entries:
    """uint8[8]: entry by state for the header bits behind RTR or RRS."""
    return stuffing_of(kind.fixed_bits(), int(kind.remote))


@cache
def stuffing_of_code(kind: Kind) -> Entries:
    """uint8[8]: entry by state for ESI and the length code of an FD frame."""
    return stuffing_of(kind.code_bits(), int(kind.switched))


def _number(code: int) -> list[int]:
    return [(code >> place) & 1 for place in (3, 2, 1, 0)]


def _changes(value: NDArray[np.int64], width: int) -> NDArray[np.int64]:
    """The changes within the low `width` bits, beside the bit above them, ready to be joined with a state."""
    changes = value >> 1
    changes ^= value
    changes &= (1 << width) - 1
    changes <<= STATE_BITS
    return changes


@cache
def _base_entries(kind: Kind) -> Entries:
    """uint8[2048]: entry behind the header, by identifier. The start of frame is the 0 above the identifier's bits."""
    can_id = np.arange(1 << 11, dtype=np.int64)
    entries = stuffing(12).take(_changes((can_id << 1) | int(kind.remote), 12) | AFTER_START_OF_FRAME)
    return joined(entries, stuffing_of_fixed(kind)[entries & STATE])


@cache
def _upper_entries() -> Entries:
    """uint8[16384]: entry behind 11 identifier bits, SRR 1, IDE 1 and 3 more identifier bits, by those 14 bits."""
    upper = np.arange(1 << 14, dtype=np.int64)
    bits = ((upper >> 3) << 5) | (3 << 3) | (upper & 7)
    return stuffing(16).take(_changes(bits, 16) | AFTER_START_OF_FRAME)


# Places in the header, counted from its end: length code 0 to 3, two fixed zeros, RTR 6, identifier from 7 on; of an
# extended frame 18 bits of it, then IDE 25 and SRR 26, and the other 11 bits.
_RTR_PLACE, _ID_PLACE, _IDE_PLACE, _SRR_PLACE, _UPPER_ID_PLACE = 6, 7, 25, 26, 27


@cache
def _base_crc(kind: Kind) -> Crc:
    return crc_of_bits(range(_ID_PLACE, _ID_PLACE + 11)) ^ np.uint16(_fixed_crc(kind))


@cache
def _extended_crc() -> tuple[Crc, Crc]:
    """(uint16[16384], uint16[32768]): what the upper 14 and the lower 15 bits of the identifier add to the CRC."""
    lower = range(_ID_PLACE, _ID_PLACE + _LOW_BITS)
    upper = [*range(_ID_PLACE + _LOW_BITS, _IDE_PLACE), *range(_UPPER_ID_PLACE, _UPPER_ID_PLACE + 11)]
    return crc_of_bits(upper), crc_of_bits(lower)


@cache
def _fixed_crc(kind: Kind) -> int:
    places = [place for place in range(4) if (kind.code >> place) & 1]
    if kind.remote:
        places.append(_RTR_PLACE)
    if kind.extended:
        places += [_IDE_PLACE, _SRR_PLACE]
    crc = 0
    for place in places:
        crc ^= crc_of_place(place)
    return crc
