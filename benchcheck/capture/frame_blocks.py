"""CAN frames between columns and the bytes of enhanced packet blocks, whole batches at a time (layout: pcapng_form)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from benchcheck.capture import pcapng_form as form
from benchcheck.capture.packet_runs import HEAD_WORDS, ROW_WORDS, Packets, Words
from benchcheck.capture.recording import CAN_ID_BASE
from benchcheck.words.frames import FD_LENGTHS, RAW_DLC_SHIFT, FrameBatch, FrameFlag

_FLAGS_OPTION_WORDS = 3
_FLAGS_OPTION = form.EPB_FLAGS | 4 << 16  # code and length of the option, read as one little-endian word
_NO_ID = np.uint32(0x1FFF_FFFF)
_LATEST = np.uint64(1 << 62)  # as recording.is_sane_stamp
_MASKS = np.array([(1 << 8 * length) - 1 for length in range(9)], np.uint64)  # the data bytes that a length covers
_IS_FD_LENGTH = np.array([length in FD_LENGTHS for length in range(256)])


def encode_frames(interface: int, batch: FrameBatch) -> bytes:
    """The blocks of a batch, in its order; the column `bus` is not looked at. Raises ValueError for stamps before 0."""
    count = len(batch)
    if not count:
        return b""
    if int(batch.time_ns.min()) < 0:
        raise ValueError("a capture can't hold stamps before its epoch")
    flags = batch.flags
    size = np.where(flags & FrameFlag.REMOTE, 0, np.minimum(batch.length, batch.data.shape[1])).astype(np.uint32)
    # a classic frame takes 16 bytes whatever its length, so that its blocks are of one size, and found without a search
    caught = np.where(flags & FrameFlag.FD, 8 + size, np.uint32(16)).astype(np.uint32)
    words = (caught - np.uint32(5)) >> np.uint32(2)
    sent = (flags & FrameFlag.SENT) != 0
    width = int(words.max())
    any_sent = bool(sent.any())
    end = HEAD_WORDS + width + (_FLAGS_OPTION_WORDS if any_sent else 0)
    rows = np.zeros((count, end + 1), "<u4")
    rows[:, 0] = form.ENHANCED_PACKET
    rows[:, 1] = rows[:, end] = 4 * (HEAD_WORDS + 1 + words + _FLAGS_OPTION_WORDS * sent)
    rows[:, 2] = interface
    rows[:, 3] = batch.time_ns >> 32
    rows[:, 4] = batch.time_ns & 0xFFFF_FFFF
    rows[:, 5] = rows[:, 6] = caught
    rows[:, 7] = _wire_ids(batch).byteswap()
    rows[:, 8] = batch.length | _fd_bits(flags) << 8 | ((flags >> RAW_DLC_SHIFT) & 15).astype(np.uint32) << 24
    if width:
        data = np.zeros((count, 4 * width), np.uint8)
        held = min(4 * width, batch.data.shape[1])
        data[:, :held] = batch.data[:, :held]
        data *= np.arange(4 * width, dtype=np.uint32) < size[:, None]
        rows[:, HEAD_WORDS : HEAD_WORDS + width] = data.view("<u4")
    if any_sent:
        rows[:, end - 3] = _FLAGS_OPTION
        rows[:, end - 2] = form.EPB_OUTBOUND
    if bool((words == width).all()) and (not any_sent or bool(sent.all())):
        return rows.tobytes()
    kept = np.ones(rows.shape, np.bool_)
    kept[:, HEAD_WORDS : HEAD_WORDS + width] = np.arange(width, dtype=np.uint32) < words[:, None]
    if any_sent:
        kept[:, end - 3 : end] = sent[:, None]
    return rows[kept].tobytes()


def _wire_ids(batch: FrameBatch) -> Words:
    flags = batch.flags.astype(np.uint32)
    wire_id = batch.can_id | (flags & FrameFlag.EXTENDED.value) << 31
    wire_id |= (flags & FrameFlag.REMOTE.value) << 29
    wire_id |= (flags & FrameFlag.ERROR.value) << 27
    return wire_id.astype(np.uint32)


def _fd_bits(flags: NDArray[np.uint16]) -> Words:
    fd = np.where(flags & FrameFlag.FD, form.FD_FRAME, 0)
    fd |= np.where(flags & FrameFlag.BRS, form.FD_BRS, 0)
    fd |= np.where(flags & FrameFlag.ESI, form.FD_ESI, 0)
    return fd.astype(np.uint32)


def decode_frames(
    packets: Packets,
    bus: NDArray[np.uint16] | int,
    stamps: Callable[[Packets], tuple[NDArray[np.int64], NDArray[np.bool_]]] | None,
    is_sent: Callable[[int, bytes], bool],
) -> tuple[FrameBatch, NDArray[np.int64] | None]:
    """The frames of packets that are all of CAN interfaces, and which of the packets they are; None: all of them.

    bus      the index of the bus, or of each packet
    stamps   gives nanoseconds, and which of them are sound; None where the file's stamps are nanoseconds
    is_sent  looks into the options of one packet of an interface, where they are not laid out as this project does
    """
    rows, swapped = packets.rows, packets.swapped
    wire_id = rows[:, 7] if swapped else rows[:, 7].byteswap()
    head = rows[:, 8].byteswap() if swapped else np.ascontiguousarray(rows[:, 8])
    caught = np.ascontiguousarray(rows[:, 5])
    if stamps is None:
        halves = rows[:, 3:5].view(np.uint64)[:, 0]  # the high one stands first
        ticks = halves << np.uint64(32)
        ticks |= halves >> np.uint64(32)
        good = ticks <= _LATEST
        time_ns = ticks.view(np.int64)
    else:
        time_ns, good = stamps(packets)
    # nearly all frames: no FD, remote or error frame, no odd length code
    plain = head <= 8
    plain &= caught >= head + np.uint32(8)
    plain &= (wire_id & np.uint32(form.CAN_REMOTE | form.CAN_ERROR)) == 0
    flags = (wire_id >> np.uint32(31)).astype(np.uint16)
    length = (head & np.uint32(0xFF)).astype(np.uint8)
    can_id = wire_id & _NO_ID
    sound = (flags != 0) | (can_id <= CAN_ID_BASE)
    if not plain.all():
        odd = np.flatnonzero(~plain)
        flags[odd], length[odd], sound[odd] = _odd_frames(wire_id[odd], head[odd], caught[odd], sound[odd])
    good &= sound
    # what is left of the block when its head, the frame and the last length are taken off: options
    options = rows[:, 1] - np.uint32(32) - ((caught + np.uint32(3)) & ~np.uint32(3))
    if options.any():
        with_options = np.flatnonzero(options)
        good[with_options] &= options[with_options] < rows[with_options, 1]  # else the frame is longer than its block
        with_options = with_options[good[with_options]]
        sent = _sent(packets.some(with_options), caught[with_options], options[with_options], is_sent)
        flags[with_options] |= FrameFlag.SENT.value * sent.astype(np.uint16)
    buses = np.full(len(packets), bus, np.uint16) if isinstance(bus, int) else bus
    data = _data(packets, flags, length)
    if good.all():
        return FrameBatch(time_ns, buses, can_id, flags, length, data), None
    kept = np.flatnonzero(good)
    return FrameBatch(time_ns[kept], buses[kept], can_id[kept], flags[kept], length[kept], data[kept]), kept


def _odd_frames(
    wire_id: Words, head: Words, caught: Words, id_fits: NDArray[np.bool_]
) -> tuple[NDArray[np.uint16], NDArray[np.uint8], NDArray[np.bool_]]:
    """(flags, length, sound) of frames that may be anything; the rules are those of recording.is_sound."""
    held = np.where(caught >= 8, caught - np.uint32(8), 0)
    length = head & np.uint32(0xFF)
    fd_bits = head >> np.uint32(8) & np.uint32(0xFF)
    raw_code = head >> np.uint32(24)
    error = (wire_id & form.CAN_ERROR) != 0
    remote = (wire_id & form.CAN_REMOTE) != 0
    # recorders that know no FD flag write longer frames all the same
    fd = (fd_bits & form.FD_FRAME != 0) | ((length > 8) & ~error)
    flags = (wire_id >> np.uint32(31)).astype(np.uint16)
    flags |= np.where(remote, FrameFlag.REMOTE, 0).astype(np.uint16)
    flags |= np.where(error, FrameFlag.ERROR, 0).astype(np.uint16)
    flags |= np.where(fd, FrameFlag.FD, 0).astype(np.uint16)
    flags |= np.where(fd & (fd_bits & form.FD_BRS != 0), FrameFlag.BRS, 0).astype(np.uint16)
    flags |= np.where(fd & (fd_bits & form.FD_ESI != 0), FrameFlag.ESI, 0).astype(np.uint16)
    has_code = ~fd & (length == 8) & (raw_code >= 9) & (raw_code <= 15)
    flags |= np.where(has_code, raw_code << np.uint32(RAW_DLC_SHIFT), 0).astype(np.uint16)
    sound = np.where(fd, _IS_FD_LENGTH[length] & ~remote, length <= 8) & (remote | (held >= length))
    length = np.where(error, np.minimum(np.minimum(length, held), 8), length)
    return flags, length.astype(np.uint8), (caught >= 8) & (error | (sound & id_fits))


def _sent(packets: Packets, caught: Words, options: Words, is_sent: Callable[[int, bytes], bool]) -> NDArray[np.bool_]:
    at = packets.starts + 7 + ((caught.astype(np.int64) + 3) >> 2)
    words = packets.words
    first = form.EPB_FLAGS << 16 | 4 if packets.swapped else _FLAGS_OPTION
    ours = (words.take(at, mode="clip") == first) & (options <= 4 * _FLAGS_OPTION_WORDS)
    sent: NDArray[np.bool_] = (words.take(at + 1, mode="clip") & np.uint32(3)) == form.EPB_OUTBOUND
    sent &= ours
    order = ">u4" if packets.swapped else "<u4"
    for k in np.flatnonzero(~ours).tolist():
        start = int(at[k])
        number = int(packets.rows[k, 2])
        sent[k] = is_sent(number, words[start : start + int(options[k]) // 4].astype(order).tobytes())
    return sent


def _data(packets: Packets, flags: NDArray[np.uint16], length: NDArray[np.uint8]) -> NDArray[np.uint8]:
    rows = packets.rows
    held = length if not (flags & FrameFlag.REMOTE).any() else np.where(flags & FrameFlag.REMOTE, 0, length)
    pair = rows[:, HEAD_WORDS:ROW_WORDS]
    if packets.swapped:
        pair = pair.byteswap()
    masked = pair.view(np.uint64)[:, 0] & _MASKS.take(held, mode="clip")
    data: NDArray[np.uint8] = masked.view(np.uint8).reshape(-1, 8)
    if held.max(initial=0) <= 8:
        return data
    wide = np.zeros((len(rows), 64), np.uint8)
    wide[:, :8] = data
    long = np.flatnonzero(held > 8)
    at = packets.starts[long, None] + np.arange(HEAD_WORDS, HEAD_WORDS + 16)
    found = packets.words.take(at, mode="clip")
    if packets.swapped:
        found.byteswap(inplace=True)
    wide[long] = found.view(np.uint8) * (np.arange(64) < held[long, None])
    return wide
