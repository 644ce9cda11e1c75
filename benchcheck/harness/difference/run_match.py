"""Which run of an old pin table is which of a new one: by wire number, and where numbers changed by its two ends."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from benchcheck.harness.model import Run
from benchcheck.words.contact import contact_key

Match = tuple[Run | None, Run | None]
_Key = tuple[str, int]


def match_runs(old: Sequence[Run], new: Sequence[Run]) -> list[Match]:
    """Every run of both tables once: (old, new), with None where it is gone or is new.

    A run keeps its number as a rule. Where the ends of a number differ, or a number has come or gone, a run with the
    same two ends under another number is the same one, renumbered: nobody rewires a bay to exchange two labels.
    """
    was, now = _by_number(old), _by_number(new)
    found: list[Match] = []
    left, come = dict.fromkeys(was), dict.fromkeys(now)  # in order, and quick to take from
    for key in was:
        if key in now and _ends(was[key]) == _ends(now[key]):
            found.append((was[key], now[key]))
            left.pop(key)
            come.pop(key)
    by_ends: dict[frozenset[str], list[_Key]] = {}
    for key in sorted(left, key=_order):
        by_ends.setdefault(_ends(was[key]), []).append(key)
    for key in sorted(come, key=_order):
        fitting = by_ends.get(_ends(now[key]))
        if fitting:
            former = fitting.pop(0)
            found.append((was[former], now[key]))
            left.pop(former)
            come.pop(key)
    for key in sorted(left.keys() & come.keys(), key=_order):
        found.append((was[key], now[key]))
        left.pop(key)
        come.pop(key)
    found += [(was[key], None) for key in left]
    found += [(None, now[key]) for key in come]
    return found


def _by_number(runs: Iterable[Run]) -> dict[_Key, Run]:
    seen: Counter[str] = Counter()
    found: dict[_Key, Run] = {}
    for run in runs:
        found[run.wire, seen[run.wire]] = run
        seen[run.wire] += 1
    return found


def _ends(run: Run) -> frozenset[str]:
    return frozenset(run.ends)


def _order(key: _Key) -> tuple[object, ...]:
    return (contact_key(key[0]), key[1])
