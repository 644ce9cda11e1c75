"""Signals out of columns of data: shifts and masks over all rows at once, only for the signals asked for.

Frames too short for a signal don't have it; they have the other ones. So has a frame whose multiplexer says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.frames import FrameBatch, FrameFlag
from benchcheck.words.signal import Field, Signal

_WORD = 8
_NO_DATA = FrameFlag.REMOTE | FrameFlag.ERROR
_FLOATS = {16: (np.uint16, np.float16), 32: (np.uint32, np.float32), 64: (np.uint64, np.float64)}

Raw = NDArray[np.int64] | NDArray[np.uint64] | NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SignalColumn:
    """A signal in n frames.

    rows       intp[m]  rows of the batch in which it is there, in order; of the frames of its message
    raw        [m]      int64 where signed, uint64 where unsigned, float64 where a float: exact
    too_short  frames of the message that end before its last bit
    elsewhere  frames of the message whose multiplexer says that it isn't there
    """

    signal: Signal
    rows: NDArray[np.intp]
    raw: Raw
    too_short: int = 0
    elsewhere: int = 0

    @property
    def values(self) -> NDArray[np.float64]:
        """float64[m] in the signal's unit: raw times factor plus offset. Beyond 2^53 a float64 rounds; `raw` doesn't."""
        return scaled(self.signal, self.raw)


def scaled(signal: Signal, raw: Raw) -> NDArray[np.float64]:
    """Raw numbers in the signal's unit."""
    values = raw.astype(np.float64)
    with np.errstate(invalid="ignore", over="ignore"):  # what is sent as no number stays none
        if signal.factor != 1:
            values *= signal.factor
        if signal.offset != 0:
            values += signal.offset
    return values


def rows_of_message(batch: FrameBatch, key: IdKey) -> NDArray[np.intp]:
    """The rows that carry data under an identifier: base and extended ones are different even where equal in number."""
    wanted = FrameFlag.EXTENDED.value if key.extended else 0
    rows = np.flatnonzero(batch.can_id == np.uint32(key.can_id))
    fits = (batch.flags.take(rows) & np.uint16(FrameFlag.EXTENDED | _NO_DATA)) == wanted
    return rows if fits.all() else rows[fits]


def decode(batch: FrameBatch, key: IdKey, signals: tuple[Signal, ...]) -> list[SignalColumn]:
    """The signals asked for, of the message with this identifier, in the order asked."""
    rows = rows_of_message(batch, key)
    whole = len(rows) == len(batch)
    data = batch.data if whole else _taken(batch.data, rows)
    length = batch.length if whole else batch.length.take(rows)
    columns = Columns(data, length)
    found = []
    for signal in signals:
        at, raw, too_short = columns.read(signal)
        found.append(
            SignalColumn(signal, rows if at is None else rows[at], raw, too_short, len(rows) - len(raw) - too_short)
        )
    return found


def _taken(data: NDArray[np.uint8], rows: NDArray[np.intp]) -> NDArray[np.uint8]:
    """Some rows; eight bytes are taken as one number, which is several times as fast."""
    if data.shape[1] == _WORD and data.flags.c_contiguous:
        return data.reshape(-1).view(np.uint64).take(rows).view(np.uint8).reshape(-1, _WORD)
    return data.take(rows, axis=0)


class Columns:
    """Data bytes of n frames of one message: data uint8[n, w], length uint8[n]. Words once read are kept."""

    def __init__(self, data: NDArray[np.uint8], length: NDArray[np.uint8]) -> None:
        if data.shape[1] < _WORD:
            data = np.pad(data, ((0, 0), (0, _WORD - data.shape[1])))
        self._data = np.ascontiguousarray(data)
        self._length = length
        self._shortest = int(length.min()) if len(length) else 0
        self._words: dict[tuple[int, bool], NDArray[np.uint64]] = {}

    def read(self, signal: Signal) -> tuple[NDArray[np.intp] | None, Raw, int]:
        """(rows that have it, None for all of them; the raw numbers in these; frames too short for it)."""
        needed = max((signal.field.bytes_needed, *(entry.field.bytes_needed for entry in signal.when)))
        if needed > self._data.shape[1]:
            none = np.zeros(0, np.intp)
            return none, _as_raw(signal.field, none.astype(np.uint64)), len(self._length)
        if needed <= self._shortest and not signal.when:
            return None, _as_raw(signal.field, self.bits(signal.field)), 0
        has_it = self._length >= needed
        too_short = len(has_it) - int(np.count_nonzero(has_it))
        for entry in signal.when:
            number = _as_raw(entry.field, self.bits(entry.field))
            has_it &= np.isin(number, np.array(entry.values, number.dtype))
        at = np.flatnonzero(has_it)
        return at, _as_raw(signal.field, self.bits(signal.field)[at]), too_short

    def bits(self, field: Field) -> NDArray[np.uint64]:
        """The field's bits in every row, right-aligned; what is behind a frame's end counts as 0."""
        before, length = field.bits_before, field.length_bits
        first = min(field.first_byte, self._data.shape[1] - _WORD)
        before += 8 * (field.first_byte - first)
        word = self._word(first, field.little_endian)
        over = before + length - 64  # bits in a ninth byte
        if over > 0:
            ninth = self._data[:, first + _WORD].astype(np.uint64)
            if field.little_endian:
                found = (word >> np.uint64(before)) | (ninth << np.uint64(64 - before))
            else:
                found = (word << np.uint64(over)) | (ninth >> np.uint64(8 - over))
        else:
            shift = before if field.little_endian else -over
            found = word >> np.uint64(shift)  # a new column: the word is kept
        if length < 64:
            found &= np.uint64((1 << length) - 1)
        return found

    def _word(self, first: int, little_endian: bool) -> NDArray[np.uint64]:
        """Eight bytes of each row from `first` on, as one number."""
        key = (first, little_endian)
        if key not in self._words:
            count, width = self._data.shape
            order = "<u8" if little_endian else ">u8"
            view = np.ndarray((count,), order, self._data, first, (width,)) if count else np.zeros(0, order)
            self._words[key] = view.astype(np.uint64)
        return self._words[key]


def _as_raw(field: Field, bits: NDArray[np.uint64]) -> Raw:
    if field.is_float:
        pattern, form = _FLOATS[field.length_bits]
        with np.errstate(invalid="ignore"):  # a signalling no-number becomes a quiet one
            return bits.astype(pattern).view(form).astype(np.float64)
    if not field.signed:
        return bits
    unused = np.int64(64 - field.length_bits)
    shifted = (bits << np.uint64(unused)).view(np.int64)
    shifted >>= unused  # brings copies of the sign down
    return shifted
