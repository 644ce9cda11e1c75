"""A first order: always the cheapest next pair, in about n log n.

From where the leads are, the next pair is one that shares a contact with them (one lead moves); where none is left,
one in the same two connectors, in one of them, in the same zones, or any. Among equals the pair goes first whose other
contact has the fewest pairs left: it would be left over later, and cost both leads.
"""

from __future__ import annotations

from bisect import bisect_left

from benchcheck.plan.field import Field

# Contacts with more pairs than this are looked up near the moving lead, not gone through.
FEW = 12


class Walk:
    """One walk over a field."""

    def __init__(self, field: Field) -> None:
        self.field = field
        self.at: dict[int, list[int]] = {}  # contact -> its pairs that are left
        for i in range(len(field)):
            self.at.setdefault(field.a[i], []).append(i)
            self.at.setdefault(field.b[i], []).append(i)
        self.left = {contact: len(pairs) for contact, pairs in self.at.items()}
        self.hubs = {contact: _Hub(field, contact, pairs) for contact, pairs in self.at.items() if len(pairs) > FEW}
        self.done = [False] * len(field)
        self._apart = max(field.connector, default=0) + max(field.zone, default=0) + 1
        self.lists: dict[int, list[int]] = {}
        for i in range(len(field) - 1, -1, -1):
            for key in self._keys(field.a[i], field.b[i]):
                self.lists.setdefault(key, []).append(i)

    def _keys(self, a: int, b: int) -> tuple[int, ...]:
        """Where a pair can be found, the nearest first: both its connectors, one of them, both zones, one, anywhere.

        Each is a number of its own, for they are looked up for every pair.
        """
        connector, zone, apart = self.field.connector, self.field.zone, self._apart
        p, q, r, s = connector[a], connector[b], zone[a], zone[b]
        if p > q:
            p, q = q, p
        if r > s:
            r, s = s, r
        return (p * apart + q) * 5, p * 5 + 1, q * 5 + 1, (r * apart + s) * 5 + 2, r * 5 + 3, s * 5 + 3, 4

    def order(self, first: int | None = None) -> list[int]:
        """Every pair once, from `first` on, or from wherever it is best to start."""
        field = self.field
        found: list[int] = []
        a = b = -1
        while len(found) < len(field):
            if not found:
                best = first if first is not None else self._start()
            elif (best := self._beside(a, b)) < 0:
                best = self._away(a, b)
            found.append(best)
            self.done[best] = True
            a, b = field.a[best], field.b[best]
            self.left[a] -= 1
            self.left[b] -= 1
        return found

    def _start(self) -> int:
        """A pair that would be left over: the one with the fewest others at either end, the first in walking order."""
        field = self.field

        def rating(i: int) -> tuple[int, int, int]:
            a, b = field.a[i], field.b[i]
            return min(self.left[a], self.left[b]), min(a, b), max(a, b)

        return min(range(len(field)), key=rating)

    def _beside(self, a: int, b: int) -> int:
        field, done, left = self.field, self.done, self.left
        connector, zone = field.connector, field.zone
        best, least = -1, (1 << 60, 0, 0)
        for held, moving in ((a, b), (b, a)):
            if held == moving or not left.get(held):
                continue
            hub = self.hubs.get(held)
            if hub is not None:
                pairs = hub.near(moving, done)
            else:
                pairs = self.at[held]
                if len(pairs) > left[held] + 2:
                    pairs = self.at[held] = [i for i in pairs if not done[i]]
            for i in pairs:
                if done[i]:
                    continue
                to = field.a[i] + field.b[i] - held
                far = (connector[to] != connector[moving]) + 2 * (zone[to] != zone[moving])
                rating = (far, left[to], abs(to - moving))
                if rating < least:
                    best, least = i, rating
        return best

    def _away(self, a: int, b: int) -> int:
        for key in self._keys(a, b):
            pairs = self.lists.get(key)
            while pairs and self.done[pairs[-1]]:
                pairs.pop()
            if pairs:
                return pairs[-1]
        raise AssertionError("a pair is left and in no list")


class _Hub:
    """The pairs of a contact that has many, by their other contact; what is done is skipped in next to no time."""

    def __init__(self, field: Field, contact: int, pairs: list[int]) -> None:
        self.pairs = sorted(pairs, key=lambda i: field.a[i] + field.b[i])
        self.to = [field.a[i] + field.b[i] - contact for i in self.pairs]
        self.up = list(range(len(pairs) + 1))
        self.down = list(range(len(pairs) + 1))

    def near(self, contact: int, done: list[bool]) -> list[int]:
        """The nearest pairs that are left on both sides of a contact."""
        at = bisect_left(self.to, contact)
        found = []
        above = self._skip(self.up, at, done, 0)
        if above < len(self.pairs):
            found.append(self.pairs[above])
        below = self._skip(self.down, at, done, -1)
        if below > 0:
            found.append(self.pairs[below - 1])
        return found

    def _skip(self, links: list[int], at: int, done: list[bool], shift: int) -> int:
        """The first place from `at` on that is not done, upwards (shift 0) or downwards (-1)."""
        end = len(self.pairs) if shift == 0 else 0
        step = 1 if shift == 0 else -1
        passed = []
        while at != end:
            if links[at] != at:
                passed.append(at)
                at = links[at]
            elif done[self.pairs[at + shift]]:
                passed.append(at)
                links[at] = at + step
                at = links[at]
            else:
                break
        for place in passed:
            links[place] = at
        return at
