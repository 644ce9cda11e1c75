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

from benchcheck.traffic.window_runs import window_runs

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
    time_ns: NDArray[np.int64]
    nominal: NDArray[np.uint16]
    data: NDArray[np.uint16]

    def only(self, chosen: slice) -> _Rows:
        return _Rows(self.time_ns[chosen], self.nominal[chosen], self.data[chosen])

    def copied(self) -> _Rows:
        """With arrays of its own: a view would keep the whole batch alive."""
        return _Rows(self.time_ns.copy(), self.nominal.copy(), self.data.copy())

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

    def update(self, time_ns: NDArray[np.int64], nominal: NDArray[np.int64], data: NDArray[np.int64]) -> None:
        """Take in the next frames; `nominal` and `data` are their bits by the rate they were sent at."""
        self._take(_Rows(time_ns, nominal.astype(np.uint16), data.astype(np.uint16)))

    def merge(self, later: Pieces) -> None:
        """Take in the part that follows. Raises ValueError where `later` began a recording, and so can't follow."""
        if not later.is_part:
            raise ValueError("a tally that began a recording can't be merged behind another one")
        for rows in later._kept:
            self._take(rows)

    def sums(self) -> PieceSums:
        """What the pieces come to if the recording ends here."""
        running = self._running.copied()
        for rows in self._kept:
            running.update(rows)
        return running.finished()

    def _take(self, rows: _Rows) -> None:
        if self.is_part:
            self._kept.append(rows.copied())
        else:
            self._running.update(rows)


class _Running:
    """The pieces so far. The last frame is held back: whether a cut lies before it is known only by the next one."""

    def __init__(self) -> None:
        self.span_ns = 0
        self.cuts = 0
        self.whole_windows = 0
        self.whole_bits = WindowBits(0, 0)
        self.fullest: list[PieceWindow] = []
        self._origin_ns = 0  # of the open piece
        self._last_ns: int | None = None  # the last stamp that was put into a piece; None before the first
        self._before: int | None = None  # the interval that led to it
        self._open: dict[int, WindowBits] = {}
        self._held: _Rows | None = None

    def copied(self) -> _Running:
        made = copy(self)
        made._open = dict(self._open)  # the only one that is changed in place
        return made

    def update(self, rows: _Rows) -> None:
        if not len(rows.time_ns):
            return
        if self._held is not None:
            rows = self._held.then(rows)
        self._held = rows.only(slice(-1, None)).copied()
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
        window = (time_ns - origins[piece]) // WINDOW_NS
        changes = (piece[1:] != piece[:-1]) | (window[1:] != window[:-1])
        runs = np.flatnonzero(np.concatenate(([True], changes)))
        run_piece, run_window = piece[runs], window[runs]
        nominal = np.add.reduceat(rows.nominal.astype(np.int64), runs)
        data = np.add.reduceat(rows.data.astype(np.int64), runs)

        self._add_open(run_window, nominal, data, run_piece == 0)
        if self._last_ns is not None:
            if starts[0]:
                self._last_ns = int(time_ns[starts[0] - 1])
            self._close()
            self.cuts += 1
        self.cuts += len(starts) - 1
        # pieces that began and ended in these frames
        lasts = time_ns[starts[1:] - 1]
        spans = lasts - time_ns[starts[:-1]]
        self.span_ns += sum(spans.tolist())
        whole = spans // WINDOW_NS
        self.whole_windows += sum(whole.tolist())
        closed = (run_piece > 0) & (run_piece < len(starts))
        closed[closed] = run_window[closed] < whole[run_piece[closed] - 1]
        if closed.any():
            where = origins[run_piece[closed]] + run_window[closed] * WINDOW_NS
            self._whole(nominal[closed], data[closed], where)
        # the piece that is open now
        self._origin_ns, self._last_ns = int(time_ns[starts[-1]]), int(time_ns[-1])
        self._add_open(run_window, nominal, data, run_piece == len(starts))

    def _extend(self, rows: _Rows) -> None:
        """As `_account`, for frames that all go on with the open piece."""
        windows, runs = window_runs(rows.time_ns, self._origin_ns, WINDOW_NS, in_order=True)
        nominal = np.add.reduceat(rows.nominal, runs, dtype=np.int64)
        data = np.add.reduceat(rows.data, runs, dtype=np.int64)
        self._add_open(windows, nominal, data, np.ones(len(runs), np.bool_))
        self._last_ns = int(rows.time_ns[-1])

    def _add_open(
        self, window: NDArray[np.int64], nominal: NDArray[np.int64], data: NDArray[np.int64], chosen: NDArray[np.bool_]
    ) -> None:
        columns = (column[chosen].tolist() for column in (window, nominal, data))
        for index, slow, fast in zip(*columns, strict=True):
            before = self._open.get(index, WindowBits(0, 0))
            self._open[index] = WindowBits(before.nominal + slow, before.data + fast)

    def _close(self) -> None:
        """End the open piece."""
        span = (self._last_ns or 0) - self._origin_ns
        whole = span // WINDOW_NS
        self.span_ns += span
        self.whole_windows += whole
        inside = [(index, bits) for index, bits in self._open.items() if index < whole]
        self._open = {}
        if inside:
            bits = np.array([bits for _, bits in inside], np.int64)
            where = np.array([self._origin_ns + index * WINDOW_NS for index, _ in inside], np.int64)
            self._whole(bits[:, 0], bits[:, 1], where)

    def _whole(self, nominal: NDArray[np.int64], data: NDArray[np.int64], start_ns: NDArray[np.int64]) -> None:
        self.whole_bits = WindowBits(
            self.whole_bits.nominal + sum(nominal.tolist()), self.whole_bits.data + sum(data.tolist())
        )
        if not data.any():  # one alone can be the fullest, the first of equals
            best = int(nominal.argmax())
            nominal, data, start_ns = nominal[best : best + 1], data[best : best + 1], start_ns[best : best + 1]
        found = zip(nominal.tolist(), data.tolist(), start_ns.tolist(), strict=True)
        self.fullest = _front([*self.fullest, *(PieceWindow(WindowBits(n, d), at) for n, d, at in found)])


def _cuts(between: NDArray[np.int64], before: int | None) -> NDArray[np.bool_]:
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
