"""Plain frames of a run of blocks, straight into columns: the way nearly all frames of our own captures are read.

Plain is what needs no look at any single block: classic data frames of one interface, with stamps in nanoseconds,
without options, and with all 8 bytes of room for data. What the blocks have in common tells that (UniformRun); all others
go through frame_blocks, which knows everything.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchcheck import compiled
from benchcheck.capture import pcapng_form as form
from benchcheck.capture.packet_runs import HEAD_WORDS, ROW_WORDS, UniformRun
from benchcheck.words.frames import FrameBatch

_MASKS = np.array([(1 << 8 * length) - 1 for length in range(9)], np.uint64)  # the data bytes that a length covers
_NO_ID = np.uint32(0x1FFF_FFFF)
_EXTENDED_SHIFT = np.uint32(31)
_BASE_BITS, _EXTENDED = np.uint32(0x7FF), np.uint32(form.CAN_EXTENDED)
_LATEST_HIGH = 1 << 30  # stamps beyond are damage, as recording.is_sane_stamp


PLAIN_BYTES = 48
"""Of a block with the 16 bytes of a classic frame and no options, as our own captures have them."""


def looks_plain(words: NDArray[np.uint32], place: int, least: int) -> bool:
    """Whether `read_plain` is worth asking: at least `least` blocks of the right size may follow, by the first and last."""
    last = place + (least - 1) * (PLAIN_BYTES // 4)
    return (
        compiled.counting is not None and last + 1 < len(words) and words[place + 1] == words[last + 1] == PLAIN_BYTES
    )


def read_plain(words: NDArray[np.uint32], place: int, least: int, bus: int, out: FrameBatch) -> int:
    """Fill the first rows of `out` with the plain frames of one interface from `place` on; how many: 0 for fewer than `least`.

    In this machine's byte order, stamps in nanoseconds; only where `looks_plain`.
    """
    count = compiled.counting.plain_frames(
        words, out.time_ns, out.can_id, out.flags, out.length, out.data, place, least
    )
    out.bus[:count] = bus
    return count


def is_plain(run: UniformRun) -> bool:
    """Whether all that the blocks have in common is as it is in plain frames; in this machine's byte order."""
    if run.blocks.shape[1] < ROW_WORDS or not run.is_alike(2) or not run.is_alike(5):
        return False
    caught, wire_id, head = int(run.any_bit[5]), int(run.any_bit[7].byteswap()), int(run.any_bit[8])
    no_options = 4 * run.blocks.shape[1] == 32 + caught + -caught % 4
    no_kind = not wire_id & (form.CAN_REMOTE | form.CAN_ERROR)
    return caught >= 16 and no_options and no_kind and head <= 15 and int(run.any_bit[3]) < _LATEST_HIGH


def decode_plain(run: UniformRun, bus: int, out: FrameBatch) -> bool:
    """Fill `out`, which has as many rows as the run and 8 bytes of data each; False where a frame is not plain after all."""
    blocks, count = run.blocks, len(run)
    length = out.length
    length[:] = blocks[:, 8]
    if int(length.max()) > 8:
        return False
    wire_id = blocks[:, 7].byteswap()
    if run.any_bit[7] & np.uint32(0xFFFF_FFFF) != run.all_bit[7] or wire_id[0] > _BASE_BITS:
        beyond = (wire_id > _BASE_BITS) & (wire_id < _EXTENDED)
        if beyond.any():
            return False
    np.right_shift(wire_id, _EXTENDED_SHIFT, out=out.flags, casting="unsafe")
    np.bitwise_and(wire_id, _NO_ID, out=out.can_id)
    halves = out.time_ns.view(np.uint32).reshape(count, 2)
    halves[:, 0], halves[:, 1] = blocks[:, 4], blocks[:, 3]
    out.bus[:] = bus
    pair = blocks[:, HEAD_WORDS:ROW_WORDS].view(np.uint64)[:, 0]
    np.bitwise_and(pair, _MASKS.take(length, mode="clip"), out=out.data.view(np.uint64)[:, 0])
    return True
