"""What a serial-line CAN adapter says, as bytes, turned into columns: whole chunks at once. No port is touched here.

The line protocol is the one that python-can's serial-line interface speaks: a letter for the kind of frame (`t` and `T` data of
11 and 29 bits, `r` and `R` remote, `d` `D` FD and `b` `B` FD with bit-rate switch), the identifier in 3 or 8 hex digits, a length code, the data, four
more digits where the adapter stamps, a carriage return. A lone carriage return is a yes, a bell a no.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.words.frames import FD_LENGTHS, FrameBatch, FrameFlag, no_frames

_CR, _BELL = 0x0D, 0x07
_LONGEST = 1 + 8 + 1 + 128 + 4  # of a line; what is longer is none
_STAMP_DIGITS = 4

_HEX = np.full(256, 255, np.uint8)
for _digit in range(16):
    _HEX[ord(f"{_digit:x}")] = _HEX[ord(f"{_digit:X}")] = _digit

_KINDS = {
    ord("t"): FrameFlag(0),
    ord("T"): FrameFlag.EXTENDED,
    ord("r"): FrameFlag.REMOTE,
    ord("R"): FrameFlag.REMOTE | FrameFlag.EXTENDED,
    ord("d"): FrameFlag.FD,
    ord("D"): FrameFlag.FD | FrameFlag.EXTENDED,
    ord("b"): FrameFlag.FD | FrameFlag.BRS,
    ord("B"): FrameFlag.FD | FrameFlag.BRS | FrameFlag.EXTENDED,
}


class StatusBit:
    """Bits of the answer to `F`, the adapter's status (as common among such adapters; no standard)."""

    RECEIVE_FULL = 0x01
    WARNING = 0x04
    OVERRUN = 0x08
    ERROR_PASSIVE = 0x20
    BUS_ERROR = 0x80


@dataclass(slots=True)
class SerialCanParser:
    """Feed it chunks as they were read; garbage is counted, never raised.

    garbled   lines that were no frame and no answer
    refusals  bells met
    status    the last answer to `F`, None before the first
    """

    garbled: int = 0
    refusals: int = 0
    status: int | None = None
    _rest: bytes = b""

    def feed(self, chunks: Sequence[tuple[int, bytes]]) -> FrameBatch:
        """The frames that the chunks complete; (stamp in ns, bytes) each. A frame bears the stamp of the chunk that ended it."""
        before = len(self._rest)
        text = self._rest + b"".join(data for _, data in chunks)
        raw = np.frombuffer(text, np.uint8)
        is_end = (raw == _CR) | (raw == _BELL)
        ends = np.flatnonzero(is_end)
        if not len(ends):
            self._keep(text)
            return no_frames()
        self._keep(text[int(ends[-1]) + 1 :])
        edges = before + np.cumsum([len(data) for _, data in chunks])
        stamps = np.array([stamp for stamp, _ in chunks], np.int64)
        starts = np.concatenate((np.zeros(1, np.int64), ends[:-1] + 1))
        self.refusals += int(np.count_nonzero(raw[ends] == _BELL))
        length = ends - starts
        # a bell ends what stood before it as well: a line that was cut off by a refusal
        found = self._frames(raw, starts, length, raw[ends] == _CR)
        at = np.searchsorted(edges, ends[found.rows], side="right")
        return FrameBatch(
            time_ns=stamps[np.minimum(at, len(stamps) - 1)],
            bus=np.zeros(len(found.rows), np.uint16),
            can_id=found.can_id,
            flags=found.flags,
            length=found.length,
            data=found.data,
        )

    def break_line(self) -> None:
        """What comes next is not what came behind the last chunk: a line that was begun is lost."""
        self.garbled += bool(self._rest)
        self._rest = b""

    def _keep(self, rest: bytes) -> None:
        if len(rest) > _LONGEST:
            rest = (
                b"\0" + rest[-_LONGEST:]
            )  # its end may come yet: it is counted then, and never taken for a whole line
        self._rest = rest

    def _frames(
        self, raw: NDArray[np.uint8], starts: NDArray[np.int64], length: NDArray[np.int64], is_line: NDArray[np.bool_]
    ) -> _Found:
        first = raw[np.minimum(starts, len(raw) - 1)]
        fits = is_line & (length > 0) & (length <= _LONGEST)
        self.garbled += int(np.count_nonzero((length > 0) & ~fits))
        code = first.astype(np.int64) << 16 | length
        parts: list[_Found] = []
        for value in np.unique(code[fits]).tolist():
            letter, size = value >> 16, value & 0xFFFF
            rows = np.flatnonzero(fits & (code == value))
            flags = _KINDS.get(letter)
            if flags is None:
                self._answers(raw, starts[rows], letter, size)
                continue
            nibbles = _HEX[raw[starts[rows, None] + np.arange(1, size)]]
            part = _decoded(rows, nibbles, flags)
            self.garbled += len(rows) - len(part.rows)
            parts.append(part)
        return _joined(parts)

    def _answers(self, raw: NDArray[np.uint8], starts: NDArray[np.int64], letter: int, size: int) -> None:
        """What is no frame: answers to questions that were asked, or garbage."""
        if letter == ord("F") and size == 3:
            for start in starts.tolist():
                high, low = _HEX[raw[start + 1 : start + 3]].tolist()
                if high > 15 or low > 15:
                    self.garbled += 1
                else:
                    self.status = high << 4 | low
        elif not (letter in b"zZ" and size == 1) and letter not in b"VvN":
            self.garbled += len(starts)


@dataclass(frozen=True, slots=True)
class _Found:
    rows: NDArray[np.int64]  # of the lines
    can_id: NDArray[np.uint32]
    flags: NDArray[np.uint16]
    length: NDArray[np.uint8]
    data: NDArray[np.uint8]


def _decoded(rows: NDArray[np.int64], nibbles: NDArray[np.uint8], flags: FrameFlag) -> _Found:
    """Frames of one kind from lines of one size; those that are no frame are left out."""
    digits = 8 if flags & FrameFlag.EXTENDED else 3
    behind = nibbles.shape[1] - digits - 1
    if behind < 0:
        return _none(rows[:0])
    is_fd, is_remote = bool(flags & FrameFlag.FD), bool(flags & FrameFlag.REMOTE)
    sizes = np.array(FD_LENGTHS if is_fd else (*range(9), *[255] * 7), np.int64)
    length = sizes[nibbles[:, digits] & 15]
    wanted = np.zeros_like(length) if is_remote else 2 * length
    can_id = np.zeros(len(rows), np.uint32)
    for place in range(digits):
        can_id = can_id << np.uint32(4) | nibbles[:, place]
    good = (nibbles <= 15).all(axis=1) & (length <= 64)
    good &= (wanted == behind) | (wanted == behind - _STAMP_DIGITS)
    good &= can_id <= (0x1FFF_FFFF if flags & FrameFlag.EXTENDED else 0x7FF)
    kept = np.flatnonzero(good)
    held = behind // 2
    if wanted.any() and held:
        pairs = nibbles[kept, digits + 1 : digits + 1 + 2 * held].reshape(len(kept), held, 2)
        data = np.zeros((len(kept), 64 if is_fd else 8), np.uint8)
        width = min(held, data.shape[1])
        data[:, :width] = pairs[:, :width, 0] << 4 | pairs[:, :width, 1]
        data *= np.arange(data.shape[1]) < (wanted[kept] // 2)[:, None]
    else:
        data = np.zeros((len(kept), 64 if is_fd else 8), np.uint8)
    return _Found(
        rows[kept],
        can_id[kept],
        np.full(len(kept), flags.value, np.uint16),
        length[kept].astype(np.uint8),
        data,
    )


def _joined(parts: list[_Found]) -> _Found:
    """All parts in the order of their lines."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return _none(np.zeros(0, np.int64))
    width = max(part.data.shape[1] for part in parts)
    rows = np.concatenate([part.rows for part in parts])
    order = np.argsort(rows, kind="stable")
    data = [np.pad(part.data, ((0, 0), (0, width - part.data.shape[1]))) for part in parts]
    return _Found(
        rows[order],
        np.concatenate([part.can_id for part in parts])[order],
        np.concatenate([part.flags for part in parts])[order],
        np.concatenate([part.length for part in parts])[order],
        np.concatenate(data)[order],
    )


def _none(rows: NDArray[np.int64]) -> _Found:
    return _Found(
        rows, np.zeros(0, np.uint32), np.zeros(0, np.uint16), np.zeros(0, np.uint8), np.zeros((0, 8), np.uint8)
    )


def frame_line(can_id: int, data: bytes, *, extended: bool) -> bytes:
    """The command that sends one data frame. Raises ValueError for what is none."""
    if len(data) > 8 or not 0 <= can_id <= (0x1FFF_FFFF if extended else 0x7FF):
        raise ValueError("no classic frame")
    head = f"T{can_id:08X}" if extended else f"t{can_id:03X}"
    return f"{head}{len(data)}{data.hex().upper()}\r".encode("ascii")
