"""Leftovers of a long walk are put where they are in passing: near linear, for fields too large to improve by turns.

A walk leaves pairs behind that later cost both leads. Each such pair, or short stretch of pairs, is taken out and put
between two pairs that touch one of its contacts, where it costs one lead only.
"""

from __future__ import annotations

from collections.abc import Sequence

from benchcheck.plan.cost import MOVE_S
from benchcheck.plan.field import Field

STRETCH = 2  # longest stretch that is moved
PLACES = 6  # pairs tried at each contact


def tidy(field: Field, order: Sequence[int], *, held: bool) -> list[int]:
    """The order with leftovers moved. The first pair stays first where it is `held`."""
    count, cost = len(order), field.costs()
    end = count  # stands before the first and after the last
    after = [0] * (count + 1)
    before = [0] * (count + 1)
    for i, j in zip((end, *order), (*order, end), strict=True):
        after[i], before[j] = j, i
    at: dict[int, list[int]] = {}
    for i in order:
        at.setdefault(field.a[i], []).append(i)
        at.setdefault(field.b[i], []).append(i)
    fixed = order[0] if held else -1

    def join(i: int, j: int) -> int:
        return cost(i, j) if i != end and j != end else 0

    def near(pair: int) -> list[int]:
        return [j for contact in (field.a[pair], field.b[pair]) for j in at[contact][:PLACES] if j != pair]

    def place(pair: int) -> None:
        """Move a stretch from `pair` on to where it costs less, if there is such a place."""
        last, previous = pair, before[pair]
        if pair == fixed or join(previous, pair) <= MOVE_S:
            return
        for _ in range(STRETCH):
            if last == end:
                return
            following = after[last]
            saved = join(previous, pair) + join(last, following) - join(previous, following)
            if saved > MOVE_S:
                for head, tail in ((pair, last), (last, pair)):
                    for j in near(head):
                        new = cost(head, j)
                        if new >= saved or j in _stretch(after, pair, last):
                            continue
                        # j, head .. tail, what follows j; or what precedes j, tail .. head, j
                        beyond = after[j]
                        if j != previous and new + join(tail, beyond) - join(j, beyond) < saved:
                            _put(after, before, pair, last, j, beyond, turned=head != pair)
                            return
                        beyond = before[j]
                        if j != following and j != fixed and new + join(tail, beyond) - join(beyond, j) < saved:
                            _put(after, before, pair, last, beyond, j, turned=head == pair)
                            return
            last = after[last]

    for pair in order:
        place(pair)
    found, i = [], after[end]
    while i != end:
        found.append(i)
        i = after[i]
    return found


def _stretch(after: list[int], first: int, last: int) -> list[int]:
    found = [first]
    while found[-1] != last:
        found.append(after[found[-1]])
    return found


def _put(after: list[int], before: list[int], first: int, last: int, left: int, right: int, *, turned: bool) -> None:
    """Take the stretch first..last out and put it between two that follow each other."""
    stretch = _stretch(after, first, last)
    i, j = before[first], after[last]
    after[i], before[j] = j, i
    if turned:
        stretch.reverse()
    for i, j in zip((left, *stretch), (*stretch, right), strict=True):
        after[i], before[j] = j, i
