"""Where the packet blocks of a capture stand: runs of one length, and chains of any lengths."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchcheck.capture import pcapng_form as form

HEAD_WORDS = 9  # of a block, up to the data of its frame: 7 of the block, 2 of the frame
ROW_WORDS = HEAD_WORDS + 2  # ...with the 8 data bytes of a classic frame
_ROWS_AT_ONCE = 64

Words = NDArray[np.uint32]


@dataclass(frozen=True, slots=True)
class Packets:
    """n enhanced packet blocks, one right behind the other.

    words    uint32[m]     the part of the file that they are in, in this machine's byte order
    starts   int64[n]      where each begins in `words`
    rows     uint32[n, 11] the first words of each; of shorter blocks what follows them, too
    swapped  whether the file has the byte order that this machine hasn't
    """

    words: Words
    starts: NDArray[np.int64]
    rows: Words
    swapped: bool

    def __len__(self) -> int:
        return len(self.starts)

    def some(self, which: slice | NDArray[np.int64] | NDArray[np.bool_]) -> Packets:
        return Packets(self.words, self.starts[which], self.rows[which], self.swapped)


class UniformRun(NamedTuple):
    """Packet blocks of one length that stand one behind the other.

    blocks   uint32[n, m] their words
    any_bit  uint32[m] the bits that are set in any of them, word by word
    all_bit  uint32[m] the bits that are set in all of them
    """

    blocks: Words
    any_bit: Words
    all_bit: Words

    def __len__(self) -> int:
        return len(self.blocks)

    def is_alike(self, word: int) -> bool:
        """Whether all blocks have the same in this word."""
        return bool(self.any_bit[word] == self.all_bit[word])


def find_uniform(words: Words, place: int, at_most: int) -> UniformRun | None:
    """The packet blocks of one length that begin at `place`, `at_most` being looked at; None where there is none."""
    if place + 2 > len(words) or words[place] != form.ENHANCED_PACKET:
        return None
    total = int(words[place + 1])
    stride = total // 4
    if total % 4 or not 4 * (HEAD_WORDS + 1) <= total <= 4 * 64:
        return None
    most = min(at_most, (len(words) - place) // stride)
    if not most:
        return None
    blocks = words[place : place + most * stride].reshape(most, stride)
    found = _first_other(blocks[:, 1], total)
    any_bit, all_bit = _bits(blocks[:found])
    ends = [0, 1, stride - 1]
    if (any_bit[ends] != all_bit[ends]).any() or any_bit[0] != form.ENHANCED_PACKET or any_bit[-1] != total:
        fits = (blocks[:found, 0] == form.ENHANCED_PACKET) & (blocks[:found, -1] == total)
        found = int(np.argmin(fits))
        if not found:
            return None
        any_bit, all_bit = _bits(blocks[:found])
    return UniformRun(blocks[:found], any_bit, all_bit)


def _first_other(column: Words, value: int) -> int:
    """The first place at which something other than `value` stands, or the length; looked at in growing steps."""
    found, step = 0, 256
    while found < len(column):
        fits = column[found : found + step] == value
        if not fits.all():
            return found + int(np.argmin(fits))
        found += len(fits)
        step *= 8
    return found


def _bits(blocks: Words) -> tuple[Words, Words]:
    """Word by word, the bits set in any and in all of the blocks. Many blocks are taken for one long row: it is the
    length of the rows that makes this fast."""
    count, stride = blocks.shape
    wide = count // _ROWS_AT_ONCE * _ROWS_AT_ONCE
    found = []
    for reduce in (np.bitwise_or.reduce, np.bitwise_and.reduce):
        rest = blocks[wide:]
        if wide:
            folded = reduce(blocks[:wide].reshape(-1, _ROWS_AT_ONCE * stride), axis=0)
            rest = np.concatenate((folded.reshape(_ROWS_AT_ONCE, stride), rest))
        found.append(reduce(rest, axis=0))
    return found[0], found[1]


class Chain:
    """The packet blocks of a part of a file: where each may begin, and how far they stand one right behind the other.

    Every place that holds the type of a packet block with the same length at both of its ends is taken for one until
    the blocks before it lead elsewhere; so a run of any lengths is followed without looking at each in turn.
    """

    def __init__(self, words: Words, place: int) -> None:
        part = words[place:]
        last = len(part) - ROW_WORDS
        at = np.flatnonzero(part[: max(0, last + 1)] == form.ENHANCED_PACKET)
        total = part[at + 1]
        # from 32 (no data at all) to 1,020 bytes, and a multiple of 4
        fits = ((total - np.uint32(32)) & np.uint32(0xFFFF_FC03)) == 0
        if not fits.all():
            at, total = at[fits], total[fits]
        end = at + (total >> np.uint32(2))
        fits = part.take(end - 1, mode="clip") == total
        fits &= end <= len(part)
        if not fits.all():
            at, end = at[fits], end[fits]
        self._at = at + place
        self._end = end + place
        self._breaks = np.flatnonzero(end[:-1] != at[1:]) + 1

    def run(self, place: int) -> tuple[NDArray[np.int64], int]:
        """Where the packet blocks begin that stand one behind the other from `place` on, and where the last one ends."""
        first = int(np.searchsorted(self._at, place))
        if first == len(self._at) or self._at[first] != place:
            return self._at[:0], place
        behind = int(np.searchsorted(self._breaks, first, "right"))
        stop = int(self._breaks[behind]) if behind < len(self._breaks) else len(self._at)
        return self._at[first:stop], int(self._end[stop - 1])


def rows_of(words: Words, starts: NDArray[np.int64]) -> Words:
    """The first 11 words from each of `starts` on; all of them must lie in `words`."""
    # one copy of 44 bytes a row, which is less than half the time of gathering the words one by one
    every: NDArray[np.void] = np.ndarray(
        (len(words) - ROW_WORDS + 1,), np.dtype((np.void, 4 * ROW_WORDS)), buffer=words, strides=(4,)
    )
    return every[starts].view(np.uint32).reshape(-1, ROW_WORDS)


def rows_of_run(run: UniformRun) -> Words:
    """As rows_of, without a copy where the blocks are long enough."""
    stride = run.blocks.shape[1]
    if stride >= ROW_WORDS:
        return run.blocks[:, :ROW_WORDS]
    return np.pad(run.blocks, ((0, 0), (0, ROW_WORDS - stride)))
