"""What the data of one identifier came to in two recordings: its length, its signals, and bytes that hold no known signal.

The rules stand in changes.py.
"""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.traffic.changes.change import Change, Grade, Kind
from benchcheck.traffic.changes.signal_changes import SignalSeen, signal_changes
from benchcheck.traffic.changes.traits import SenderTraits
from benchcheck.traffic.tallies.watch import IdKey

DATA_FRAMES = 20
VALUES_PARTS = 0.25

Signals = tuple[SignalSeen, ...]


def data_changes(
    where: str,
    key: IdKey,
    label: str,
    traits: tuple[SenderTraits, SenderTraits],
    signals: tuple[Signals, Signals],
    judged: frozenset[str],
) -> Iterator[Change]:
    """Changes of the data of an identifier on bus `where`, which is called `label`; both pairs are (before, now).

    judged  signals of which it is said already that they left the profile's limits, or came back
    """
    was, now = traits
    if not was.data_frames or not now.data_frames:
        return
    if set(now.lengths) - set(was.lengths) and was.data_frames >= DATA_FRAMES:
        said = [" or ".join(str(length) for length in sorted(side.lengths)) for side in (now, was)]
        text = f"{label} has {said[0]} data bytes now, {said[1]} before"
        lengths = (sorted(was.lengths), sorted(now.lengths))
        yield Change(Kind.LENGTH, Grade.LESSER, key.text, where, text, 0.0, *lengths)
    varied = [k for k, (low, high) in enumerate(zip(was.low, was.high, strict=True)) if low < high]
    still = [k for k in varied if k < len(now.low) and now.low[k] == now.high[k]]
    all_still = bool(varied) and still == varied and min(was.data_frames, now.data_frames) >= DATA_FRAMES
    if all_still:
        text = f"the data of {label} stand still now, in {now.data_frames:,} frames; they varied before"
        yield Change(Kind.STILL, Grade.LESSER, key.text, where, text, now.data_frames, len(varied), 0)
    untold = [tuple(signal for signal in side if signal.name not in judged) for side in signals]
    yield from signal_changes(where, label, *untold, still=not all_still)
    if was.data_frames >= DATA_FRAMES:
        # bytes that hold a signal are told by its value
        told = frozenset(k for side in signals for signal in side for k in signal.data)
        yield from _values(where, key, label, was, now, told)


def _values(
    where: str, key: IdKey, label: str, was: SenderTraits, now: SenderTraits, told: frozenset[int]
) -> Iterator[Change]:
    left: list[str] = []
    size = 0.0
    before: dict[str, list[int]] = {}
    after: dict[str, list[int]] = {}
    for k in range(min(len(was.low), len(now.low))):
        outside = max(was.low[k] - now.low[k], now.high[k] - was.high[k])
        span = was.high[k] - was.low[k]
        bits = (was.ones[k] & ~now.ones[k]) | (now.any_ones[k] & ~was.any_ones[k])
        if k in told or not was.settled(k) or not (outside > VALUES_PARTS * span or (bits and outside <= 0)):
            continue
        if outside > 0:
            left.append(f"byte {k} {_range(now.low[k], now.high[k])}, before {_range(was.low[k], was.high[k])}")
        else:
            left.append(f"byte {k} changes bits {bits:02X}, which never changed before")
        size = max(size, outside + (256 if not span else 0))
        before[str(k)], after[str(k)] = [was.low[k], was.high[k]], [now.low[k], now.high[k]]
    if left:
        text = f"{label} has data outside the earlier range: {'; '.join(left)}"
        yield Change(Kind.VALUES, Grade.LESSER, key.text, where, text, size, before, after)


def _range(low: int, high: int) -> str:
    return f"{low:02X}" if low == high else f"{low:02X} to {high:02X}"
