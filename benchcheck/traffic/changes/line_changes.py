"""What changed on one serial line between two recordings. The rules stand in changes.py."""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt

from benchcheck.traffic.changes.change import Change, Grade, Kind
from benchcheck.traffic.changes.seen import LineSeen

STANDARD_ERRORS = 4.0
DUE = 5.0
RATE_PARTS = 0.2
SOUND_BEFORE, SOUND_NOW = 0.9, 0.5
_GARBLED_BYTES = 20


def line_changes(
    name: str, was: LineSeen | None, now: LineSeen | None, was_s: float, now_s: float, judged: bool
) -> Iterator[Change]:
    """Changes of one line, None where it was not listened to, in recordings so long.

    `judged`: the profile judges its talk in both recordings: what became of the line as a whole is said there.
    """
    if was is None or now is None:
        if was is not None and not judged:
            text = f"line {name} was not listened to in the second recording"
            yield Change(Kind.LINE, Grade.UNSURE, name, name, text, was.understood, was.understood, None)
        elif now is not None and not judged:
            text = f"line {name} was not listened to in the first recording"
            yield Change(Kind.LINE, Grade.LESSER, name, name, text, now.understood, None, now.understood)
        return
    if not was_s or not now_s:  # files of raw bytes have no time: sentences are counted by their share of all
        was_s, now_s = float(was.understood), float(now.understood)
        timed = False
    else:
        timed = True
    if was.understood and not now.understood:
        if not judged:
            yield _line_out(name, was, now, was_s, now_s)
    elif not was.understood and now.understood:
        if not judged:
            text = f"line {name} can be understood now: {now.understood:,} sentences; none before"
            yield Change(Kind.LINE, Grade.BETTER, name, name, text, now.understood, 0, now.understood)
    else:
        yield from _types(name, was, now, was_s, now_s, timed)
        yield from _sound(name, was, now)


def _line_out(name: str, was: LineSeen, now: LineSeen, was_s: float, now_s: float) -> Change:
    due = _due(was.understood, was_s, now_s)
    if now.bytes >= _GARBLED_BYTES:
        text = (
            f"line {name} can't be understood now: {now.bytes:,} bytes, and no good sentence; another speed or framing?"
        )
        return Change(Kind.LINE, Grade.GRAVE, name, name, text, was.understood, was.understood, 0)
    text = f"line {name} is silent now; {was.understood:,} sentences before"
    if due is None or due < DUE:
        return Change(Kind.LINE, Grade.UNSURE, name, name, f"{text}: too short to tell", due or 0.0, was.understood, 0)
    return Change(Kind.LINE, Grade.GRAVE, name, name, f"{text}, {due:.0f} were due", due, was.understood, 0)


def _types(name: str, was: LineSeen, now: LineSeen, was_s: float, now_s: float, timed: bool) -> Iterator[Change]:
    for kind in sorted({*was.types, *now.types}):
        old, new = was.types.get(kind, 0), now.types.get(kind, 0)
        if not new or not old:
            due = _due(old, was_s, now_s) if old else _due(new, now_s, was_s)
            sure = due is not None and due >= DUE
            how, other = ("gone", old) if old else ("new", new)
            text = f"{kind} on line {name} is {how}, {other:,} in the {'first' if old else 'second'} recording"
            grade = Grade.UNSURE if not sure else Grade.GRAVE if old else Grade.LESSER
            text += "" if sure else ": too few to tell"
            yield Change(Kind.TYPE, grade, kind, name, text, other, old, new)
        elif timed:
            yield from _rate(name, kind, old, new, was_s, now_s)


def _rate(name: str, kind: str, old: int, new: int, was_s: float, now_s: float) -> Iterator[Change]:
    rate_was, rate_now = old / was_s, new / now_s
    error = sqrt(old / was_s**2 + new / now_s**2)
    if abs(rate_now - rate_was) > max(STANDARD_ERRORS * error, RATE_PARTS * rate_was):
        text = f"{kind} on line {name} comes {rate_now:.3g} times a second now, {rate_was:.3g} before"
        size = abs(rate_now - rate_was) / rate_was
        yield Change(Kind.RATE, Grade.LESSER, kind, name, text, size, round(rate_was, 6), round(rate_now, 6))


def _sound(name: str, was: LineSeen, now: LineSeen) -> Iterator[Change]:
    """Whether a smaller share can be understood."""
    n_was, n_now = was.understood + was.others, now.understood + now.others
    if not n_was or not n_now:
        return
    share_was, share_now = was.understood / n_was, now.understood / n_now
    both = (was.understood + now.understood) / (n_was + n_now)
    error = sqrt(both * (1 - both) * (1 / n_was + 1 / n_now))
    if share_was - share_now <= max(STANDARD_ERRORS * error, 0.01):
        return
    grade = Grade.GRAVE if share_was >= SOUND_BEFORE and share_now < SOUND_NOW else Grade.LESSER
    text = f"of line {name} {100 * share_now:.1f} % can be understood now, {100 * share_was:.1f} % before"
    figures = (round(share_was, 6), round(share_now, 6))
    yield Change(Kind.LINE, grade, name, name, text, share_was - share_now, *figures)


def _due(count: int, was_s: float, now_s: float) -> float | None:
    return count * now_s / was_s if was_s > 0 and now_s > 0 else None
