"""What was really recorded of a bus: the pieces between the cuts that a recorder's clock made, and their fullest second.

A *cut* is a step of the clock (a stamp that goes back, or forward by more than an hour), and also the forward interval
beside a stamp that went back where the two together go on as if the stamp between them were not there: a single stamp
that is wrong, as by a flipped bit. Without that, a stamp 68 s off would make the recording 68 s longer.

A *piece* lies between two cuts. Its span is its own first to last stamp, so that the spans add up to the intervals that
are no cut. One-second windows start at the first stamp of each piece, and only whole ones count.

Whether an interval is a cut depends on its neighbours, and where windows start on the first stamp of the piece. So only
a tally that began at the start of the recording can forget its frames; one of a later part keeps stamps and bits
(12 bytes a frame) until it is merged behind the earlier one. That makes any cut and any merge give the same digits.
"""

from __future__ import annotations

from collections.abc import Iterable
from copy import copy
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.tallies.window_runs import window_sums

Int64s = NDArray[np.int64]

SECOND_NS = 1_000_000_000
WINDOW_NS = SECOND_NS
STEP_FORWARD_NS = 3600 * SECOND_NS


class WindowBits(NamedTuple):
    """Bits of one window, by the bit rate they were sent at."""

    nominal: int
    data: int


class PieceWindow(NamedTuple):
    """A window of a piece: its bits and the stamp at which it starts."""

    bits: WindowBits
    start_ns: int


class PieceSums(NamedTuple):
    """What the pieces of a bus come to.

    span_ns        sum of the pieces' own spans
    cuts           how many cuts there were: there is one piece more
    whole_windows  how many whole one-second windows lie in the pieces, the ones without a frame included
    whole_bits     the bits in them
    fullest        the windows of which, by some ratio of the two bit rates, one is the fullest: one alone where all
                   bits are sent at the nominal rate. Empty where no frame lies in a whole window.
    """

    span_ns: int
    cuts: int
    whole_windows: int
    whole_bits: WindowBits
    fullest: tuple[PieceWindow, ...]


class _Rows(NamedTuple):
    time_ns: Int64s
    nominal: NDArray[np.integer]
    data: NDArray[np.integer]

    def only(self, chosen: slice) -> _Rows:
        return _Rows(self.time_ns[chosen], self.nominal[chosen], self.data[chosen])

    def copied(self) -> _Rows:
        """With arrays of its own, small ones: a view would keep the whole batch alive."""
        return _Rows(self.time_ns.copy(), self.nominal.astype(np.uint16), self.data.astype(np.uint16))

    def then(self, later: _Rows) -> _Rows:
        return _Rows(
            np.concatenate((self.time_ns, later.time_ns)),
            np.concatenate((self.nominal, later.nominal)),
            np.concatenate((self.data, later.data)),
        )


class Pieces:
    """Fed the stamps and bits of one bus in recorder order.

    `is_part`: whether this may turn out to be a later part of a recording.
    """

    def __init__(self, is_part: bool = False) -> None:
        self.is_part = is_part
        self._kept: list[_Rows] = []
        self._running = _Running()
        self._sums: PieceSums | None = None  # until more comes: of many buses each asks for all

    def update(self, time_ns: Int64s, nominal: Int64s, data: Int64s, *, in_order: bool = False) -> None:
        """Take in the next frames; `nominal` and `data` are their bits by the rate they were sent at.

        `in_order`: there is certainly no step from the frame before them to the last of them.
        """
        self._take(_Rows(time_ns, nominal, data), in_order)

    def _take(self, rows: _Rows, in_order: bool) -> None:
        self._sums = None
        if self.is_part:
            self._kept.append(rows.copied())
        else:
            self._running.update(rows, in_order)

    def merge(self, later: Pieces) -> None:
        """Take in the part that follows. Raises ValueError where `later` began a recording, and so can't follow."""
        if not later.is_part:
            raise ValueError("a tally that began a recording can't be merged behind another one")
        for rows in later._kept:
            self._take(rows, in_order=False)

    def sums(self) -> PieceSums:
        """What the pieces come to if the recording ends here."""
        if self._sums is None:
            running = copy(self._running)
            for rows in self._kept:
                running.update(rows, in_order=False)
            self._sums = running.finished()
        return self._sums


class _Running:
    """The pieces so far. The last frame is held back: whether a cut lies before it is known only by the next one.

    A window of a piece is whole once the piece has a frame behind it; so one window is open at a time, and the last one
    of a piece never becomes whole.
    """

    def __init__(self) -> None:
        self.span_ns = 0
        self.cuts = 0
        self.whole_windows = 0
        self.whole_bits = WindowBits(0, 0)
        self.fullest: list[PieceWindow] = []
        self._origin_ns = 0  # of the open piece
        self._last_ns: int | None = None  # the last stamp that was put into a piece; None before the first
        self._before: int | None = None  # the interval that led to it
        self._open: PieceWindow | None = None
        self._held: _Rows | None = None
        self._is_calm = False  # whether no cut can lie before the frame held, nor before the one before it

    def update(self, rows: _Rows, in_order: bool) -> None:
        if not len(rows.time_ns):
            return
        held, self._held = self._held, rows.only(slice(-1, None)).copied()
        was_calm, self._is_calm = self._is_calm, in_order and len(rows.time_ns) > 1
        if held is not None and was_calm and self._is_calm and self._last_ns is not None:
            self._extend(held)
            self._before = int(rows.time_ns[-2]) - int((held if len(rows.time_ns) == 2 else rows).time_ns[-3:][0])
            self._extend(rows.only(slice(-1)))
            return
        if held is not None:
            rows = held.then(rows)
        self._decide(rows, hold_last=True)

    def finished(self) -> PieceSums:
        if self._held is not None:
            self._decide(self._held, hold_last=False)
            self._held = None
            self._close()
        return PieceSums(self.span_ns, self.cuts, self.whole_windows, self.whole_bits, tuple(self.fullest))

    def _decide(self, rows: _Rows, hold_last: bool) -> None:
        """Put frames into pieces: all of `rows`, or all but the last."""
        stamps = rows.time_ns
        if self._last_ns is not None:
            stamps = np.concatenate((np.array([self._last_ns], np.int64), stamps))
        between = np.diff(stamps)
        is_cut = _cuts(between, self._before)
        if self._last_ns is None:
            is_cut = np.concatenate(([True], is_cut))  # the first frame begins a piece
        if hold_last:
            rows = rows.only(slice(-1))
            is_cut = is_cut[:-1]
        if not len(rows.time_ns):
            return
        inner = between[: len(between) - 1] if hold_last else between
        if len(inner):
            self._before = int(inner[-1])
        self._account(rows, is_cut)

    def _account(self, rows: _Rows, begins: NDArray[np.bool_]) -> None:
        """Sum up frames by window; `begins` says which of them begin a piece. Piece 0 is the one that was open."""
        time_ns = rows.time_ns
        starts = np.flatnonzero(begins)
        if not len(starts):
            self._extend(rows)
            return
        piece = np.cumsum(begins, dtype=np.int64)
        origins = np.concatenate((np.array([self._origin_ns], np.int64), time_ns[starts]))
        window_ns = origins[piece] + (time_ns - origins[piece]) // WINDOW_NS * WINDOW_NS
        changes = (piece[1:] != piece[:-1]) | (window_ns[1:] != window_ns[:-1])
        runs = np.flatnonzero(np.concatenate(([True], changes)))
        nominal, data = (np.add.reduceat(column, runs, dtype=np.int64) for column in rows[1:])
        self._take_windows(window_ns[runs], nominal, data, piece[runs])
        if self._last_ns is not None:
            if starts[0]:
                self._last_ns = int(time_ns[starts[0] - 1])
            self._close()
            self.cuts += 1
        self.cuts += len(starts) - 1
        # pieces that began and ended in these frames
        spans = time_ns[starts[1:] - 1] - time_ns[starts[:-1]]
        self.span_ns += sum(spans.tolist())
        self.whole_windows += sum((spans // WINDOW_NS).tolist())
        self._origin_ns, self._last_ns = int(time_ns[starts[-1]]), int(time_ns[-1])

    def _extend(self, rows: _Rows) -> None:
        """As `_account`, for frames that all go on with the open piece."""
        windows, nominal, data = window_sums(*rows, self._origin_ns, WINDOW_NS)
        start_ns = self._origin_ns + windows * WINDOW_NS
        self._take_windows(start_ns, nominal, data, np.zeros(len(windows), np.int64))
        self._last_ns = int(rows.time_ns[-1])

    def _close(self) -> None:
        """End the open piece."""
        span = (self._last_ns or 0) - self._origin_ns
        self.span_ns += span
        self.whole_windows += span // WINDOW_NS

    def _take_windows(self, start_ns: Int64s, nominal: Int64s, data: Int64s, piece: Int64s) -> None:
        """Take in windows, in order: the stamp at which each starts, its bits, and its piece."""
        if self._open is not None:
            bits, at = self._open
            if not piece[0] and start_ns[0] == at:
                nominal[0] += bits.nominal
                data[0] += bits.data
            else:
                nominal, data = np.insert(nominal, 0, bits.nominal), np.insert(data, 0, bits.data)
                start_ns, piece = np.insert(start_ns, 0, at), np.insert(piece, 0, 0)
        whole = piece[1:] == piece[:-1]
        self._open = PieceWindow(WindowBits(int(nominal[-1]), int(data[-1])), int(start_ns[-1]))
        if whole.any():
            self._whole(nominal[:-1][whole], data[:-1][whole], start_ns[:-1][whole])

    def _whole(self, nominal: Int64s, data: Int64s, start_ns: Int64s) -> None:
        self.whole_bits = WindowBits(
            self.whole_bits.nominal + int(nominal.sum()), self.whole_bits.data + int(data.sum())
        )
        if not data.any():  # one alone can be the fullest, the first of equals
            best = int(nominal.argmax())
            nominal, data, start_ns = nominal[best : best + 1], data[best : best + 1], start_ns[best : best + 1]
        found = zip(nominal.tolist(), data.tolist(), start_ns.tolist(), strict=True)
        self.fullest = _front([*self.fullest, *(PieceWindow(WindowBits(n, d), at) for n, d, at in found)])


def _cuts(between: Int64s, before: int | None) -> NDArray[np.bool_]:
    """Which intervals are cuts; `before` is the interval before the first of them, None where there is none."""
    is_calm = before is None or before >= 0
    if not len(between) or (is_calm and int(between.min()) >= 0 and int(between.max()) <= STEP_FORWARD_NS):
        return np.zeros(len(between), np.bool_)
    is_step = (between < 0) | (between > STEP_FORWARD_NS)
    is_cut = is_step.copy()
    earlier = np.concatenate((np.array([0 if before is None else before], np.int64), between[:-1]))
    later = np.concatenate((between[1:], np.zeros(1, np.int64))) if len(between) else between
    for beside in (earlier, later):
        back = beside < 0
        is_cut |= ~is_step & back & (between + np.where(back, beside, 0) >= 0)
    return is_cut


def _front(windows: Iterable[PieceWindow]) -> list[PieceWindow]:
    """The windows that no other one beats in bits of both rates; the first of equal ones."""
    best: list[PieceWindow] = []
    fast = -1
    # by the most nominal bits first, each one further must have more at the data rate
    for window in sorted(windows, key=lambda w: (-w.bits.nominal, -w.bits.data)):
        if window.bits.data > fast:
            best.append(window)
            fast = window.bits.data
    return best
