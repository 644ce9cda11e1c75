"""How many bits a CAN frame takes on the wire, stuff bits and intermission included, for whole batches at once.

Frames that differ only in identifier and data are counted together, 16 bits of all of them at a time, by look-up (see
wire_tables). A stuff bit that becomes due is counted when the next bit comes: behind the CRC of a classic frame the CRC
delimiter brings it out. Behind the data of an FD frame nothing does: the first fixed stuff bit takes its place.

The CRC of a classic frame has stuff bits like any other part, so it is computed. The length of an FD frame does not
depend on its CRC, nor on the stuff bit count before it: the stuff bits among those are fixed in number.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from benchcheck import compiled
from benchcheck.traffic.wire.wire_header import Kind, header, kind_of, stuffing_of_code
from benchcheck.traffic.wire.wire_tables import COUNT_SHIFT, STATE, STATE_BITS, Crc, Entries, crc_step, joined, stuffing
from benchcheck.words.frames import FrameBatch

__all__ = ["INTERMISSION_BITS", "wire_bit_parts", "wire_bits"]

INTERMISSION_BITS = 3
_CRC15_BITS = 15
_CLASSIC_TAIL_BITS = 1 + 2 + 7 + INTERMISSION_BITS  # CRC delimiter, acknowledgement 2, end of frame 7
_FD_TAIL_BITS = 2 + 7 + INTERMISSION_BITS
_FD_CODE_BITS = 1 + 4  # ESI, length code
# stuff count 4, CRC 17 or 21, delimiter 1, fixed stuff bits 6 or 7 (Linux include/linux/can/length.h)
_FD_CRC_FIELD_BITS = (28, 33)
_FD_LONG_CRC_FROM_BYTES = 17

_CHUNK = 16384  # rows counted together: the columns stay in the processor's cache

Block = NDArray[np.uint64]  # eight data bytes of each frame, the first one on top
Column = NDArray[np.int64]
Count = NDArray[np.int64]


def wire_bits(batch: FrameBatch) -> NDArray[np.int64]:
    """int64[n]: bits of each frame from start of frame through intermission; 0 for an error frame.

    A classic frame with length code 9 to 15 has 8 data bytes; its code is taken from `flags` (RAW_DLC_SHIFT), or from
    `length` where that is above 8. A remote frame has no data, and its `length` stands in the header.
    """
    nominal, data = wire_bit_parts(batch)
    nominal += data
    return nominal


def wire_bit_parts(batch: FrameBatch) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(int64[n], int64[n]): bits sent at the nominal bit rate, and bits sent at the data bit rate.

    The second is 0 but for FD frames with bit-rate switch. The rate changes at the sample point of the BRS bit and
    back at that of the CRC delimiter; where both sample points lie at the same share of a bit, the two split bits
    together are one bit at each rate, and so they are counted: BRS nominal, CRC delimiter at the data rate.
    """
    nominal = np.zeros(len(batch), np.int64)
    at_data_rate = np.zeros(len(batch), np.int64)
    if compiled.counting is not None:
        data = batch.data if batch.data.flags.c_contiguous else np.ascontiguousarray(batch.data)
        compiled.counting.wire_bit_parts(batch.can_id, batch.flags, batch.length, data, nominal, at_data_rate)
        return nominal, at_data_rate
    eights = _in_eights(batch.data)
    for kind, rows in _by_kind(batch):
        for chosen in _chunks(rows, len(batch)):
            entries, crc = header(kind, batch.can_id[chosen].astype(np.int64))
            blocks = _blocks(eights, chosen, kind.data_bytes, len(entries))
            if crc is not None:
                nominal[chosen] = _classic_bits(kind, entries, crc, blocks)
                continue
            slow, fast = _fd_bits(kind, entries, blocks)
            if kind.switched:
                nominal[chosen], at_data_rate[chosen] = slow, fast
            else:
                nominal[chosen] = slow + fast
    return nominal, at_data_rate


def _by_kind(batch: FrameBatch) -> Iterator[tuple[Kind, NDArray[np.intp] | None]]:
    """The kinds in the batch, each with its rows (None: all rows); error frames are left out."""
    if not len(batch):
        return
    columns = (batch.flags.astype(np.int32) << 8) | batch.length
    if columns.max() == columns.min():
        kind = kind_of(int(columns[0]) >> 8, int(columns[0]) & 0xFF)
        if kind is not None:
            yield kind, None
        return
    # 16-bit numbers are sorted fastest; only classic frames with a length code of 9 to 15 need more
    small = columns if columns.max() > 0xFFFF else columns.astype(np.uint16)
    order = np.argsort(small, kind="stable")
    small = small[order]
    starts = np.flatnonzero(np.concatenate(([True], small[1:] != small[:-1]))).tolist()
    for start, end in zip(starts, [*starts[1:], len(order)], strict=True):
        kind = kind_of(int(small[start]) >> 8, int(small[start]) & 0xFF)
        if kind is not None:
            yield kind, order[start:end]


def _chunks(rows: NDArray[np.intp] | None, count: int) -> Iterator[slice | NDArray[np.intp]]:
    if rows is None:
        for start in range(0, count, _CHUNK):
            yield slice(start, start + _CHUNK)
    else:
        for start in range(0, len(rows), _CHUNK):
            yield rows[start : start + _CHUNK]


def _in_eights(data: NDArray[np.uint8]) -> NDArray[np.uint64]:
    """Big-endian [n, width / 8]: a view of `data` where its rows lie in one piece and fill whole eights."""
    missing = -data.shape[1] % 8 if data.shape[1] else 8
    if missing:
        data = np.pad(data, ((0, 0), (0, missing)))
    return np.ascontiguousarray(data).view(">u8")


def _blocks(eights: NDArray[np.uint64], chosen: slice | NDArray[np.intp], data_bytes: int, count: int) -> list[Block]:
    """The data as columns of eight bytes; bytes beyond the width of the batch are 0, as FD padding is."""
    wanted = -(-data_bytes // 8)
    found = [eights[chosen, place].astype(np.uint64) for place in range(min(wanted, eights.shape[1]))]
    return found + [np.zeros(count, np.uint64)] * (wanted - len(found))


def _classic_bits(kind: Kind, entries: Entries, crc: Crc, blocks: list[Block]) -> Count:
    """`entries` and `crc` are those behind the header."""
    last: Column | int = kind.code & 1
    for block in blocks:  # one, or none
        entries = _through_block(entries, block, np.uint64(kind.code & 1), kind.data_bytes)
        crc = _crc_through_block(crc, block, kind.data_bytes)
        last = (block.view(np.int64) >> (64 - 8 * kind.data_bytes)) & 1
    # 15 bits of CRC and a bit for the delimiter, whose value makes no difference
    bits = crc.astype(np.int64)
    changes = bits >> 1
    changes ^= bits
    changes ^= last << 15
    entries = _through(entries, changes << STATE_BITS, 16)
    fixed = kind.header_bits + 8 * kind.data_bytes + _CRC15_BITS + _CLASSIC_TAIL_BITS
    return (entries >> COUNT_SHIFT).astype(np.int64) + fixed


def _fd_bits(kind: Kind, entries: Entries, blocks: list[Block]) -> tuple[Count, Count]:
    """(bits to BRS and from the acknowledgement on, bits between them). `entries` are those behind the BRS bit."""
    slow = (entries >> COUNT_SHIFT).astype(np.int64)
    slow += kind.header_bits + _FD_TAIL_BITS
    entries = stuffing_of_code(kind).take(entries & STATE)
    fast = (entries >> COUNT_SHIFT).astype(np.int64)
    fast += _FD_CODE_BITS + 8 * kind.data_bytes + _FD_CRC_FIELD_BITS[kind.data_bytes >= _FD_LONG_CRC_FROM_BYTES]
    before: Block | np.uint64 = np.uint64(kind.code & 1)
    for place, block in enumerate(blocks):
        entries = _through_block(entries & STATE, block, before, min(8, kind.data_bytes - 8 * place))
        fast += entries >> COUNT_SHIFT
        before = block
    return slow, fast


def _through_block(entries: Entries, block: Block, before: Block | np.uint64, data_bytes: int) -> Entries:
    """Entries behind the first `data_bytes` bytes of a block; the lowest bit of `before` is the bit before it."""
    changes = block >> np.uint64(1)
    changes ^= block
    changes ^= before << np.uint64(63)
    signed = changes.view(np.int64)
    for width, place in _PARTS[data_bytes]:
        part = signed >> (place - STATE_BITS) if place else signed << STATE_BITS
        part &= ((1 << width) - 1) << STATE_BITS
        entries = _through(entries, part, width)
    return entries


def _through(entries: Entries, changes: Column, width: int) -> Entries:
    """Entries behind `width` more bits. `changes`, with room for a state below, is spent."""
    changes |= entries & STATE
    return joined(entries, stuffing(width).take(changes))


def _crc_through_block(crc: Crc, block: Block, data_bytes: int) -> Crc:
    signed = block.view(np.int64)
    for width, place in _PARTS[data_bytes]:
        part = signed >> place
        part &= (1 << width) - 1
        if width == 16:
            crc = crc_step().take(part ^ crc)
        else:
            part ^= crc >> np.uint16(8)
            crc = crc_step().take(part) ^ (crc << np.uint16(8))
    return crc


def _parts(data_bytes: int) -> list[tuple[int, int]]:
    """(width, place of the lowest bit) of the parts in which that many bytes are looked up: an odd one, then pairs."""
    odd = data_bytes % 2
    first = [(8, 56)] if odd else []
    return first + [(16, 48 - 8 * odd - 16 * pair) for pair in range(data_bytes // 2)]


_PARTS = [_parts(data_bytes) for data_bytes in range(9)]
