"""A better order: local changes to a walk while they pay, then small shakes that are kept where they pay.

Local changes are turning a stretch round, and moving a short stretch (turned round or not) to between two others; only
places beside a pair that is cheap to reach are tried. What is done is counted and bounded, never timed, and the shakes
come from a generator with a fixed start: the same pairs give the same order on every machine.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from benchcheck.plan.cost import MOVE_S
from benchcheck.plan.field import Field

NEAR = 8  # places tried for each pair
FEW = 16  # up to this many pairs, all others are near each
STRETCH = 20  # longest stretch that is moved
REACH = 30  # how far apart the cuts of a shake are
LONGEST_TURN = 1000

# Stands behind the last pair, and so, at place -1, before the first: nothing is paid over either end.
NOWHERE = -1


class _Row(dict[int, int]):
    """What it costs from one pair to each other; worked out when first asked for."""

    __slots__ = ("_cost", "_pair")

    def __init__(self, field: Field, pair: int) -> None:
        super().__init__({NOWHERE: 0})
        self._cost, self._pair = field.costs(), pair

    def __missing__(self, other: int) -> int:
        found = self[other] = self._cost(self._pair, other)
        return found


class Improve:
    """An order of a field's pairs, being improved. The first pair stays first where it is `held`.

    path   the pairs in order, then NOWHERE
    joins  what it costs from each place to the next, 0 from the last
    at     pair -> its place
    """

    def __init__(self, field: Field, order: Sequence[int], *, held: bool) -> None:
        self.field = field
        self.path = [*order, NOWHERE]
        self.last = len(order) - 1
        self.first = 1 if held else 0
        self.at = [0] * len(field)
        for place, pair in enumerate(order):
            self.at[pair] = place
        self.near = _near(field, order)
        self.costs: list[dict[int, int]] = [_Row(field, pair) for pair in range(len(field))]
        self.costs.append(defaultdict(int))  # from NOWHERE
        self.joins = [*(self.costs[pair][other] for pair, other in pairwise(self.path)), 0]
        self.gained = 0

    def settle(self, todo: list[int]) -> None:
        """Try the pairs in `todo`, and those beside each change, until none pays."""
        waiting = set(todo)
        while todo:
            pair = todo.pop()
            waiting.discard(pair)
            changed = self._turn(pair) or self._move(pair)
            if changed:
                for other in (*changed, pair):
                    if other not in waiting:
                        waiting.add(other)
                        todo.append(other)

    def shaken(self, count: int, starts: int, enough: int) -> list[int]:
        """The best of several rows of shakes, each from the order as it is; it stays as the last one left it.

        count   shakes, all in all
        starts  rows of shakes, which differ by chance
        enough  seconds saved, from the first order on, at which nothing more can be won
        """
        path, joins, at, gained = self.path[:], self.joins[:], self.at[:], self.gained
        best, most = path, gained
        for start in range(starts):
            if most >= enough:
                break
            self.path[:], self.joins[:], self.at[:], self.gained = path, joins, at, gained
            self._shake(count // starts, enough, _chances(start))
            if self.gained > most:
                best, most = self.path[:], self.gained
        return best[:-1]

    def _shake(self, count: int, enough: int, chances: Iterator[int]) -> None:
        """Exchange two stretches that follow each other, `count` times, and settle; keep what is no worse."""
        path, joins, at, first, last = self.path, self.joins, self.at, self.first, self.last
        length = last + 1 - first
        if length < 4:
            return
        for _ in range(count):
            if self.gained >= enough:
                return
            start = first + next(chances) % (length - 2)
            cuts = sorted({start + next(chances) % REACH for _ in range(3)})
            if len(cuts) < 3 or cuts[2] > last + 1:
                continue
            p, q, r = cuts
            before_path, before_joins, before_at, before_gained = path[:], joins[:], at[:], self.gained
            todo = [path[k] for k in (p - 1, p, q - 1, q, r - 1, r) if first <= k <= last]
            self.gained += joins[p - 1] + joins[q - 1] + joins[r - 1]
            self._put(p, path[q:r] + path[p:q], [*joins[q : r - 1], 0, *joins[p : q - 1]], p + r - q - 1)
            self.gained -= joins[p - 1] + joins[p + r - q - 1] + joins[r - 1]
            self.settle(todo)
            if self.gained < before_gained:
                path[:], joins[:], at[:], self.gained = before_path, before_joins, before_at, before_gained

    def _put(self, start: int, pairs: list[int], joins: list[int], *new: int) -> None:
        """Write pairs into places from `start` on; the joins between them are known, but for those from the places `new`."""
        path, at, costs = self.path, self.at, self.costs
        end = start + len(pairs) - 1
        path[start : end + 1] = pairs
        self.joins[start:end] = joins
        for k, pair in enumerate(pairs, start):
            at[pair] = k
        for k in (start - 1, end, *new):
            self.joins[k] = costs[path[k]][path[k + 1]]

    def _turn(self, pair: int) -> tuple[int, ...]:
        """Turn a stretch round so that `pair` stands beside a near one, where that pays."""
        path, at, costs = self.path, self.at, self.costs
        k = at[pair]
        # the stretch k+1..m, so that pair is followed by path[m]
        old = self.joins[k]
        if old:
            for other, new in self.near[pair]:
                if new >= old:
                    break
                m = at[other]
                if m > k + 1:
                    gain = old - new + costs[other][path[m + 1]] - costs[path[k + 1]][path[m + 1]]
                    if gain > 0 and m - k <= LONGEST_TURN:
                        return self._turned(k + 1, m, gain)
        # the stretch m..k-1, so that pair follows path[m]
        old = self.joins[k - 1]
        if old:
            for other, new in self.near[pair]:
                if new >= old:
                    break
                m = at[other]
                if self.first <= m < k - 1:
                    gain = old - new + costs[path[m - 1]][other] - costs[path[m - 1]][path[k - 1]]
                    if gain > 0 and k - m <= LONGEST_TURN:
                        return self._turned(m, k - 1, gain)
        return ()

    def _turned(self, start: int, end: int, gain: int) -> tuple[int, ...]:
        self._put(start, self.path[start : end + 1][::-1], self.joins[start:end][::-1])
        self.gained += gain
        return tuple(self.path[k] for k in (start - 1, start, end, end + 1) if 0 <= k <= self.last)

    def _move(self, pair: int) -> tuple[int, ...]:
        """Move a short stretch that begins or ends with `pair` to beside a near one, where that pays."""
        path, at, costs, near = self.path, self.at, self.costs, self.near[pair]
        k = at[pair]
        if k < self.first or not near:
            return ()
        for start, end, saved in self._stretches(k, near[0][1]):
            tail = path[end] if start == k else path[start]
            for other, new in near:
                if new >= saved:
                    break
                m = at[other]
                if start <= m <= end:
                    continue
                # between other and the one after it: other, pair ... tail, next
                if m + 1 != start:
                    beyond = path[m + 1]
                    extra = new + costs[tail][beyond] - costs[other][beyond]
                    if extra < saved:
                        return self._moved(start, end, m + 1, pair, saved - extra)
                # between the one before it and other: previous, tail ... pair, other
                if m - 1 != end and m >= self.first:
                    beyond = path[m - 1]
                    extra = new + costs[tail][beyond] - costs[other][beyond]
                    if extra < saved:
                        return self._moved(start, end, m, tail, saved - extra)
        return ()

    def _stretches(self, k: int, least: int) -> list[tuple[int, int, int]]:
        """Stretches that begin or end at place k, the short ones first, and what taking them out saves: more than `least`."""
        path, joins, costs, first, last = self.path, self.joins, self.costs, self.first, self.last
        # Saved are the joins at both ends, less the one that closes the gap: one lead move at least, but over an end
        # nothing. So most joins are too cheap, and the gap need not be looked up.
        gap, short = costs[path[k - 1]], least - joins[k - 1]
        cheap = short + MOVE_S if 0 < k <= last - STRETCH else short
        ends = enumerate(joins[k : min(k + STRETCH, last + 1)], k)
        ahead = [end - k for end, join in ends if join > cheap and join - gap[path[end + 1]] > short]
        gap, short = costs[path[k + 1]], least - joins[k]
        cheap = short + MOVE_S if STRETCH <= k < last else short
        befores = range(max(k - STRETCH, first - 1), k)
        behind = [k - 1 - m for m in befores if joins[m] > cheap and joins[m] - gap[path[m]] > short]
        found = []
        for more in sorted({*ahead, *behind}):
            for start in {k, k - more}:
                if more in (ahead if start == k else behind):
                    end = start + more
                    saved = joins[start - 1] + joins[end] - costs[path[start - 1]][path[end + 1]]
                    found.append((start, end, saved))
        return found

    def _moved(self, start: int, end: int, to: int, head: int, gain: int) -> tuple[int, ...]:
        """Take start..end out and put it in before place `to`, so that it begins with `head`."""
        path, joins = self.path, self.joins
        stretch, inner = path[start : end + 1], joins[start:end]
        if stretch[0] != head:
            stretch.reverse()
            inner.reverse()
        size = len(stretch)
        if to > end:
            low, high, put = start, to, to - size
            self._put(low, path[end + 1 : to] + stretch, [*joins[end + 1 : to - 1], 0, *inner], put - 1)
        else:
            low, high, put = to, end + 1, to
            self._put(low, stretch + path[to:start], [*inner, 0, *joins[to : start - 1]], put + size - 1)
        self.gained += gain
        around = {low - 1, low, high - 1, high, put - 1, put, put + size - 1, put + size}
        return tuple(path[k] for k in sorted(around) if 0 <= k <= self.last)


def _chances(start: int) -> Iterator[int]:
    """Numbers that look like chance, the same for the same start: the 'minimal standard' generator with factor 48271
    (Park and Miller, Communications of the ACM 36(7), 1993; from memory). The low bits of such numbers are good enough here."""
    value = 1 + start
    while True:
        value = value * 48271 % 2147483647
        yield value


def _near(field: Field, order: Sequence[int]) -> list[list[tuple[int, int]]]:
    """For each pair the few that are cheapest to reach, with what it costs: those with a contact in common, then those
    beside it between the same two connectors."""
    at: dict[int, list[int]] = {}
    for i in order:
        at.setdefault(field.a[i], []).append(i)
        at.setdefault(field.b[i], []).append(i)
    connectors: dict[tuple[int, int], list[int]] = {}
    for i in sorted(order, key=lambda i: (field.a[i], field.b[i])):
        p, q = field.connector[field.a[i]], field.connector[field.b[i]]
        connectors.setdefault((min(p, q), max(p, q)), []).append(i)
    beside: dict[int, list[int]] = {}
    for pairs in connectors.values():
        for n, i in enumerate(pairs):
            beside[i] = pairs[max(0, n - 3) : n] + pairs[n + 1 : n + 4]
    near: list[list[tuple[int, int]]] = [[] for _ in range(len(field))]
    for i in order if len(field) <= FEW else ():
        near[i] = _priced(field, i, (j for j in order if j != i))
    for i in order if len(field) > FEW else ():
        found: dict[int, None] = {}
        for end in (field.a[i], field.b[i]):
            pairs = at[end]
            if len(pairs) > 40:  # of a hub only those that are beside it anyhow
                continue
            found |= dict.fromkeys(pairs)
        found |= dict.fromkeys(beside[i])
        found.pop(i, None)
        near[i] = _priced(field, i, found)[:NEAR]
    return near


def _priced(field: Field, i: int, others: Iterable[int]) -> list[tuple[int, int]]:
    return sorted(((j, field.cost(i, j)) for j in others), key=lambda entry: entry[1])
