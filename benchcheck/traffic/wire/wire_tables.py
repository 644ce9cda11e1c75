"""Look-up tables for stuff bits and CRC-15, from which the bits of whole columns of frames are counted.

Stuffing. After five equal bits a stuff bit of the other value is put in, and begins a run of its own (Bosch CAN 2.0,
"Bit stream coding"). What counts is where the bits change, so the tables are entered with *changes*: a 1 for each bit
that differs from the bit before it, stuff bits left out. The *state* is the length of the run so far, less one, 0 to 4;
in state 4 a stuff bit is due, and counted when the next bit comes. An *entry* is a uint8: the state in bits 0 to 2, the
stuff bits met on the way in the 5 bits above (a classic frame has at most 29: Davis, Burns, Bril, Lukkien 2007).

CRC-15 is kept in the upper 15 bits of a uint16, so it is a 16-bit CRC whose polynomial is shifted left by one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

Entries = NDArray[np.uint8]
Crc = NDArray[np.uint16]

STATE = np.uint8(7)
COUNT_SHIFT = np.uint8(3)
STATE_BITS = 3
AFTER_START_OF_FRAME = 0
"""State after the start of frame: a run of one."""

_DUE = 4
_ONE_MET = 1 << 3
_POLYNOMIAL = 0x4599 << 1  # Bosch CAN 2.0 section 3.1.1, CRC sequence


@cache
def stuffing(width: int) -> Entries:
    """uint8[8 << width]: the entry for (changes << STATE_BITS | state), of `width` changes with the first one on top."""
    if width == 1:
        table = np.zeros((2, 8), np.uint8)
        for state in range(_DUE):
            table[0, state] = state + 1
            table[1, state] = 0
        # the stuff bit differs from the bit before it: a bit that changes too goes on with its run
        table[0, _DUE] = _ONE_MET | 0
        table[1, _DUE] = _ONE_MET | 1
        return table.reshape(-1)
    first = stuffing(width // 2).reshape(-1, 1, 8)
    second = stuffing(width - width // 2).reshape(-1, 8)
    return joined(first, second[np.arange(len(second)).reshape(1, -1, 1), first & STATE]).reshape(-1)


def joined(first: Entries, second: Entries) -> Entries:
    """Entries of two stretches of bits in a row; `second` was looked up with the states of `first`."""
    return second + (first & ~STATE)


def stuffing_of(bits: Iterable[int], before: int) -> Entries:
    """uint8[8]: entry by state for these very bits; `before` is the bit before them."""
    entries = np.arange(8, dtype=np.uint8)
    for bit in bits:
        entries = joined(entries, stuffing(1)[(int(bit != before) << STATE_BITS) | (entries & STATE)])
        before = bit
    return entries


def crc_of_place(place: int) -> int:
    """What a 1 adds to the CRC where `place` more bits follow it up to the end of what the CRC covers."""
    crc = _POLYNOMIAL
    for _ in range(place):
        crc = ((crc << 1) ^ (_POLYNOMIAL if crc & 0x8000 else 0)) & 0xFFFF
    return crc


def crc_of_bits(places: Sequence[int]) -> Crc:
    """uint16[1 << len(places)]: what a number adds to the CRC whose bits stand at `places`, the lowest bit first."""
    table = np.zeros(1, np.uint16)
    for place in places:
        table = np.concatenate((table, table ^ np.uint16(crc_of_place(place))))
    return table


@cache
def crc_step() -> Crc:
    """uint16[65536]: the CRC after 16 more bits, by (those bits XOR the CRC before); the first 256 serve for 8 bits."""
    return crc_of_bits(range(16))
