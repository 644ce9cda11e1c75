"""A better order: local changes to a walk while they pay, then small shakes that are kept where they pay.

Local changes are turning a stretch round, and moving a short stretch (turned round or not) to between two others; only
places beside a pair that is cheap to reach are tried. What is done is counted and bounded, never timed, and the shakes
come from a generator with a fixed start: the same pairs give the same order on every machine.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from benchcheck.plan.cost import MOVE_S
from benchcheck.plan.field import Field

NEAR = 8  # places tried for each pair
FEW = 16  # up to this many pairs, all others are near each
STRETCH = 20  # longest stretch that is moved
REACH = 30  # how far apart the cuts of a shake are
LONGEST_TURN = 1000


class _Row(dict[int, int]):
    """What it costs from one pair to each other; worked out when first asked for."""

    def __init__(self, field: Field, pair: int) -> None:
        super().__init__()
        self._field, self._pair = field, pair

    def __missing__(self, other: int) -> int:
        found = self[other] = self._field.cost(self._pair, other)
        return found


class Improve:
    """An order of a field's pairs, being improved. The first pair stays first where it is `held`."""

    def __init__(self, field: Field, order: Sequence[int], *, held: bool) -> None:
        self.field = field
        self.path = list(order)
        self.first = 1 if held else 0
        self.at = [0] * len(field)
        for place, pair in enumerate(self.path):
            self.at[pair] = place
        self.near = _near(field, self.path)
        self.costs = [_Row(field, pair) for pair in range(len(field))]
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
        path, at, gained = self.path[:], self.at[:], self.gained
        best, most = path[:], gained
        for start in range(starts):
            if most >= enough:
                break
            self.path[:], self.at[:], self.gained = path, at, gained
            self._shake(count // starts, enough, _chances(start))
            if self.gained > most:
                best, most = self.path[:], self.gained
        return best

    def _shake(self, count: int, enough: int, chances: Iterator[int]) -> None:
        """Exchange two stretches that follow each other, `count` times, and settle; keep what is no worse."""
        path, at, first = self.path, self.at, self.first
        length = len(path) - first
        if length < 4:
            return
        for _ in range(count):
            if self.gained >= enough:
                return
            start = first + next(chances) % (length - 2)
            cuts = sorted({start + next(chances) % REACH for _ in range(3)})
            if len(cuts) < 3 or cuts[2] > len(path):
                continue
            p, q, r = cuts
            before_path, before_at, before_gained = path[:], at[:], self.gained
            ends = [k for k in (p - 1, p, q - 1, q, r - 1, r) if first <= k < len(path)]
            todo = [path[k] for k in ends]
            self.gained += self._join(p - 1, p) + self._join(q - 1, q) + self._join(r - 1, r)
            path[p:r] = path[q:r] + path[p:q]
            for k in range(p, r):
                at[path[k]] = k
            m = p + r - q
            self.gained -= self._join(p - 1, p) + self._join(m - 1, m) + self._join(r - 1, r)
            self.settle(todo)
            if self.gained < before_gained:
                path[:], at[:], self.gained = before_path, before_at, before_gained

    def _join(self, k: int, m: int) -> int:
        """The cost between two places that follow each other; none over either end."""
        return self.costs[self.path[k]][self.path[m]] if k >= 0 and m < len(self.path) else 0

    def _turn(self, pair: int) -> tuple[int, ...]:
        """Turn a stretch round so that `pair` stands beside a near one, where that pays."""
        path, at, costs = self.path, self.at, self.costs
        last = len(path) - 1
        k = at[pair]
        # the stretch k+1..m, so that pair is followed by path[m]
        old = costs[pair][path[k + 1]] if k < last else 0
        if old:
            for other, new in self.near[pair]:
                if new >= old:
                    break
                m = at[other]
                if m > k + 1:
                    gain = old - new
                    if m < last:
                        gain += costs[other][path[m + 1]] - costs[path[k + 1]][path[m + 1]]
                    if gain > 0 and m - k <= LONGEST_TURN:
                        return self._turned(k + 1, m, gain)
        # the stretch m..k-1, so that pair follows path[m]
        old = costs[path[k - 1]][pair] if k > 0 else 0
        if old:
            for other, new in self.near[pair]:
                if new >= old:
                    break
                m = at[other]
                if self.first <= m < k - 1:
                    gain = old - new
                    if m > 0:
                        gain += costs[path[m - 1]][other] - costs[path[m - 1]][path[k - 1]]
                    if gain > 0 and k - m <= LONGEST_TURN:
                        return self._turned(m, k - 1, gain)
        return ()

    def _turned(self, start: int, end: int, gain: int) -> tuple[int, ...]:
        path, at = self.path, self.at
        path[start : end + 1] = path[start : end + 1][::-1]
        for k in range(start, end + 1):
            at[path[k]] = k
        self.gained += gain
        return tuple(path[k] for k in (start - 1, start, end, end + 1) if 0 <= k < len(path))

    def _move(self, pair: int) -> tuple[int, ...]:
        """Move a short stretch that begins or ends with `pair` to beside a near one, where that pays."""
        path, at, costs = self.path, self.at, self.costs
        last = len(path) - 1
        k = at[pair]
        if k < self.first or not self.near[pair]:
            return ()
        nearest = self.near[pair][0][1]
        for size in range(1, STRETCH + 1):
            for start in {k, k - size + 1}:
                end = start + size - 1
                if start < self.first or end > last:
                    continue
                tail = path[end] if start == k else path[start]
                before = path[start - 1] if start > 0 else -1
                after = path[end + 1] if end < last else -1
                saved = (costs[before][path[start]] if before >= 0 else 0) + (
                    costs[path[end]][after] if after >= 0 else 0
                )
                if before >= 0 and after >= 0:
                    if saved <= nearest + MOVE_S:  # no two pairs are nearer than one lead move
                        continue
                    saved -= costs[before][after]
                if saved <= nearest:
                    continue
                for other, new in self.near[pair]:
                    if new >= saved:
                        break
                    m = at[other]
                    if start <= m <= end:
                        continue
                    # between other and the one after it: other, pair ... tail, next
                    if m + 1 != start:
                        beyond = path[m + 1] if m < last else -1
                        extra = new + (costs[tail][beyond] - costs[other][beyond] if beyond >= 0 else 0)
                        if extra < saved:
                            return self._moved(start, end, m + 1, pair, saved - extra)
                    # between the one before it and other: previous, tail ... pair, other
                    if m - 1 != end and m >= self.first:
                        beyond = path[m - 1] if m > 0 else -1
                        extra = new + (costs[tail][beyond] - costs[other][beyond] if beyond >= 0 else 0)
                        if extra < saved:
                            return self._moved(start, end, m, tail, saved - extra)
        return ()

    def _moved(self, start: int, end: int, to: int, head: int, gain: int) -> tuple[int, ...]:
        """Take start..end out and put it in before place `to`, so that it begins with `head`."""
        path, at = self.path, self.at
        stretch = path[start : end + 1]
        if stretch[0] != head:
            stretch.reverse()
        size = len(stretch)
        if to > end:
            path[start:to] = path[end + 1 : to] + stretch
            low, high, put = start, to, to - size
        else:
            path[to : end + 1] = stretch + path[to:start]
            low, high, put = to, end + 1, to
        for k in range(low, high):
            at[path[k]] = k
        self.gained += gain
        around = {low - 1, low, high - 1, high, put - 1, put, put + size - 1, put + size}
        return tuple(path[k] for k in sorted(around) if 0 <= k < len(path))


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
