"""How many bits a CAN frame takes on the wire, stuff bits and intermission included, for whole batches at once.

Field widths: Bosch CAN 2.0 section 3.1.1 and ISO 11898-1, as counted in Linux `include/linux/can/length.h`.

A frame is walked from start of frame to the end of the stuffed part, a byte at a time: a state (last bit, length of
its run) and eight bits look up the next state and the stuff bits met on the way. A stuff bit that becomes due is put in
when the next bit comes, so the state also says whether one is still owed at the end: a classic frame sends it before
the CRC delimiter, an FD frame does not (its first fixed stuff bit takes that place).

CRC-15 starts at 0, so zeros in front change nothing: the header is padded on the left to whole bytes and goes through a
byte-wise table. The length of an FD frame does not depend on its CRC: the stuff bits of the CRC field are fixed.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from benchcheck.words.frames import RAW_DLC_SHIFT, FrameBatch, FrameFlag

INTERMISSION_BITS = 3
_CLASSIC_TAIL_BITS = 1 + 2 + 7 + INTERMISSION_BITS  # CRC delimiter, acknowledgement 2, end of frame 7
_FD_TAIL_BITS = 2 + 7 + INTERMISSION_BITS
# stuff count 4, CRC 17 or 21, delimiter 1, fixed stuff bits 6 or 7
_FD_CRC_FIELD_BITS = (28, 33)
_FD_LONG_CRC_FROM_BYTES = 17
_CRC15_POLYNOMIAL = 0x4599

FD_LENGTHS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)

_CHUNK = 8192  # rows walked together: the columns stay in the processor's cache
_AFTER_SOF = 0  # state: one dominant bit seen

Column = NDArray[np.int32]


def wire_bits(batch: FrameBatch) -> NDArray[np.int64]:
    """int64[n]: bits of each frame from start of frame through intermission; 0 for an error frame.

    A classic frame with length code 9 to 15 has 8 data bytes; its code is taken from `flags` (RAW_DLC_SHIFT), or from
    `length` where that is above 8. A remote frame has no data, and its `length` stands in the header.
    """
    nominal, data = wire_bit_parts(batch)
    return nominal + data


def wire_bit_parts(batch: FrameBatch) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(int64[n], int64[n]): bits sent at the nominal bit rate, and bits sent at the data bit rate.

    The second is 0 but for FD frames with bit-rate switch. The rate changes at the sample point of the BRS bit and
    back at that of the CRC delimiter; where both sample points lie at the same share of a bit, the two split bits
    together are one bit at each rate, and so they are counted: BRS nominal, CRC delimiter at the data rate.
    """
    count = len(batch)
    nominal = np.zeros(count, np.int64)
    at_data_rate = np.zeros(count, np.int64)
    flags = batch.flags.astype(np.int32)
    is_error = (flags & FrameFlag.ERROR) != 0
    is_fd = ((flags & FrameFlag.FD) != 0) & ~is_error
    extended = (flags & FrameFlag.EXTENDED) != 0
    remote = (flags & FrameFlag.REMOTE) != 0
    length = batch.length.astype(np.int32)

    raw_code = (flags >> RAW_DLC_SHIFT) & 15
    code = np.where(raw_code > 8, raw_code, np.minimum(length, 15))
    sent_bytes = np.where(remote, 0, np.minimum(length, 8))
    fd_code = np.searchsorted(np.array(FD_LENGTHS), np.minimum(length, 64)).astype(np.int32)
    code = np.where(is_fd, fd_code, code)
    sent_bytes = np.where(is_fd, np.array(FD_LENGTHS, np.int32)[fd_code], sent_bytes)

    # frames of one kind and one number of data bytes have the same shape and are walked together
    shape = np.where(is_error, -1, sent_bytes + 128 * extended + 256 * is_fd)
    for one in np.unique(shape):
        if one < 0:
            continue
        rows = np.flatnonzero(shape == one)
        walk = _fd_bits if one & 256 else _classic_bits
        for start in range(0, len(rows), _CHUNK):
            part = rows[start : start + _CHUNK]
            size = int(one) & 127
            nominal[part], at_data_rate[part] = walk(
                batch.can_id[part].astype(np.int64),
                flags[part],
                code[part],
                _data_columns(batch.data, part, size),
                bool(one & 128),
            )
    return nominal, at_data_rate


def _data_columns(data: NDArray[np.uint8], rows: NDArray[np.intp], size: int) -> list[Column]:
    """Data bytes as `size` contiguous columns; bytes beyond the width of `data` are 0, as FD padding is."""
    there = np.ascontiguousarray(data[rows, : min(size, data.shape[1])].T).astype(np.int32)
    missing = np.zeros(len(rows), np.int32)
    return [there[k] if k < len(there) else missing for k in range(size)]


def _classic_bits(
    can_id: NDArray[np.int64], flags: Column, code: Column, data: list[Column], extended: bool
) -> tuple[Column, Column]:
    remote = ((flags & FrameFlag.REMOTE) != 0).astype(np.int64)
    if extended:
        # SOF 0, 11 identifier bits, SRR 1, IDE 1, 18 identifier bits, RTR, r1 0, r0 0, length code
        header = ((can_id >> 18) << 27) | (3 << 25) | ((can_id & 0x3FFFF) << 7) | (remote << 6) | code
        header_bits = 39
    else:
        # SOF 0, 11 identifier bits, RTR, IDE 0, r0 0, length code
        header = (can_id << 7) | (remote << 6) | code
        header_bits = 19
    crc = _crc15(_bytes_of(header, (header_bits + 7) // 8) + data)

    # Both headers leave 1 bit over whole bytes once the lead is taken off (SOF and 1 bit, or SOF and 5 bits):
    # data and CRC then follow shifted by that bit, and 15 CRC bits fill the last byte.
    lead_bits = (header_bits - 2) % 8
    after_lead = header_bits - 1 - lead_bits
    state = _table(lead_bits)[(_AFTER_SOF << lead_bits) | (header >> after_lead).astype(np.int32)]
    whole = after_lead // 8
    stream = _bytes_of((header >> 1) & ((1 << (after_lead - 1)) - 1), whole)
    carried = (header & 1).astype(np.int32)
    for byte in data:
        stream.append((carried << 7) | (byte >> 1))
        carried = byte & 1
    stream.append((carried << 7) | (crc >> 8))
    stream.append(crc & 0xFF)
    state, stuffed = _walk(state, stream)
    stuffed += _owed()[state]
    total = header_bits + 8 * len(data) + 15 + _CLASSIC_TAIL_BITS + stuffed
    return total, np.zeros_like(total)


def _fd_bits(
    can_id: NDArray[np.int64], flags: Column, code: Column, data: list[Column], extended: bool
) -> tuple[Column, Column]:
    switched = (flags & FrameFlag.BRS) != 0
    brs = switched.astype(np.int64)
    error_passive = ((flags & FrameFlag.ESI) != 0).astype(np.int32)
    if extended:
        # SOF 0, 11 identifier bits, SRR 1, IDE 1, 18 identifier bits, RRS 0, FDF 1, res 0, BRS
        to_brs = ((can_id >> 18) << 24) | (3 << 22) | ((can_id & 0x3FFFF) << 4) | (1 << 2) | brs
        to_brs_bits = 36
    else:
        # SOF 0, 11 identifier bits, RRS 0, IDE 0, FDF 1, res 0, BRS
        to_brs = (can_id << 5) | (1 << 2) | brs
        to_brs_bits = 17
    lead_bits = (to_brs_bits - 1) % 8
    whole = (to_brs_bits - 1 - lead_bits) // 8
    lead = (to_brs >> (8 * whole)).astype(np.int32)
    state = _table(lead_bits)[(_AFTER_SOF << lead_bits) | lead] if lead_bits else np.zeros(len(can_id), np.int32)
    state, before = _walk(state, _bytes_of(to_brs & ((1 << (8 * whole)) - 1), whole))

    # the five bits ESI and length code, then the data bytes
    entry = _table(5)[((state & _STATE) << 5) | (error_passive << 4) | code]
    state, after = _walk(entry, data)
    size = len(data)
    fast = 5 + 8 * size + after + _FD_CRC_FIELD_BITS[size >= _FD_LONG_CRC_FROM_BYTES]
    slow = to_brs_bits + before + _FD_TAIL_BITS
    return np.where(switched, slow, slow + fast), np.where(switched, fast, 0)


def _bytes_of(value: NDArray[np.int64], count: int) -> list[Column]:
    """The low `count` bytes of a column of integers, the highest first."""
    return [((value >> (8 * k)) & 0xFF).astype(np.int32) for k in range(count - 1, -1, -1)]


# The state machine: a state is bit * 5 + (run - 1) with runs of 1 to 5; a table entry is the state, with the stuff bits
# met in bits 4 and up.

_STATE = 15


def _walk(entry: Column, stream: list[Column]) -> tuple[Column, Column]:
    """(state, stuff bits met) after `stream`, from the table entry of the lead."""
    table = _table(8)
    state = entry & _STATE
    stuffed = entry >> 4
    for byte in stream:
        entry = table[(state << 8) | byte]
        state = entry & _STATE
        stuffed = stuffed + (entry >> 4)
    return state, stuffed


@cache
def _table(width: int) -> Column:
    """int32[10 << width]: entry for each state and each pattern of `width` bits."""
    table = np.zeros(10 << width, np.int32)
    for state in range(10):
        for pattern in range(1 << width):
            last, run, stuffed = state // 5, state % 5 + 1, 0
            for place in range(width - 1, -1, -1):
                bit = (pattern >> place) & 1
                if run == 5:
                    last, run, stuffed = 1 - last, 1, stuffed + 1
                last, run = (bit, run + 1) if bit == last else (bit, 1)
            table[(state << width) | pattern] = (last * 5 + run - 1) | (stuffed << 4)
    return table


@cache
def _owed() -> Column:
    """int32[16]: 1 for the two states with a stuff bit still due."""
    return np.array([1 if state in (4, 9) else 0 for state in range(16)], np.int32)


def _crc15(stream: list[Column]) -> Column:
    table = _crc_table()
    crc = np.zeros(len(stream[0]), np.int32)
    for byte in stream:
        crc = ((crc << 8) & 0x7FFF) ^ table[(crc >> 7) ^ byte]
    return crc


@cache
def _crc_table() -> Column:
    table = np.zeros(256, np.int32)
    for byte in range(256):
        crc = byte << 7
        for _ in range(8):
            crc = ((crc << 1) ^ (_CRC15_POLYNOMIAL if crc & 0x4000 else 0)) & 0x7FFF
        table[byte] = crc
    return table
