"""The field that an order is sought in: pairs of contacts as numbers, and what it costs to go from one to the next.

Everything here is in whole seconds of `plan.cost`, so that sums are exact and the same on every machine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from benchcheck.plan.cost import CONNECTOR_S, MOVE_S, ZONE_S
from benchcheck.plan.leads import Leads
from benchcheck.words.contact import contact_key, pin_of, ref_of


class Sites:
    """Contacts in walking order: by zone, connector, contact.

    number     contact -> its place in that order
    connector  number -> connector, as a number
    zone       number -> zone, as a number
    """

    def __init__(self, contacts: Iterable[str], zones: Mapping[str, str], pins: Mapping[str, Sequence[str]]) -> None:
        """zones: connector -> where it is. pins: connector -> its contacts in order, where that is known."""
        of: dict[str, list[str]] = {}
        for contact in set(contacts):
            of.setdefault(ref_of(contact), []).append(contact)
        refs = sorted(of, key=lambda ref: (zones.get(ref, ""), contact_key(ref)))
        zone_numbers: dict[str, int] = {}
        self.number: dict[str, int] = {}
        self.connector: list[int] = []
        self.zone: list[int] = []
        for index, ref in enumerate(refs):
            zone = zone_numbers.setdefault(zones.get(ref, ""), len(zone_numbers))
            place = {pin: at for at, pin in enumerate(pins.get(ref, ()))}
            last = len(place)
            for contact in sorted(of[ref], key=lambda name: (place.get(pin_of(name), last), contact_key(name))):
                self.number[contact] = len(self.number)
                self.connector.append(index)
                self.zone.append(zone)

    def pair(self, red: str, black: str) -> tuple[int, int]:
        """A pair as numbers, the lower first: to sort by."""
        a, b = self.number[red], self.number[black]
        return (a, b) if a < b else (b, a)


class Field:
    """Pairs of contacts that the two leads must touch, each pair once.

    a, b   the two points of each pair: contact numbers. Where leads are alike, a <= b; where they are not, a contact is
           one point for red and another for black
    alike  whether the leads may be exchanged
    """

    def __init__(self, sites: Sites, *, alike: bool) -> None:
        self.alike = alike
        self._number = sites.number
        self._black = 0 if alike else len(sites.connector)  # from red's number of a contact to black's
        self.connector, self.zone = sites.connector, sites.zone
        if not alike:
            self.connector, self.zone = [*sites.connector, *sites.connector], [*sites.zone, *sites.zone]
        self.a: list[int] = []
        self.b: list[int] = []
        self._row: dict[tuple[int, int], int] = {}
        self._costs: Callable[[int, int], int] | None = None

    def __len__(self) -> int:
        return len(self.a)

    def add(self, pair: Leads) -> int:
        """The row of a pair, new where it was not there."""
        a, b = self._number[pair[0]], self._number[pair[1]] + self._black
        if self.alike and a > b:
            a, b = b, a
        row = self._row.setdefault((a, b), len(self.a))
        if row == len(self.a):
            self.a.append(a)
            self.b.append(b)
        return row

    def seconds(self, order: Sequence[int]) -> int:
        """What an order costs from its first pair on, but for the readings."""
        return sum(map(self.costs(), order, order[1:]))

    def cost(self, i: int, j: int) -> int:
        """Seconds from pair i to pair j, but for the reading: the same in both directions."""
        return self.costs()(i, j)

    def costs(self) -> Callable[[int, int], int]:
        """`cost` for those who ask it a million times: with everything at hand that it looks at."""
        if self._costs is not None:
            return self._costs
        first, second, connector, zone, alike = self.a, self.b, self.connector, self.zone, self.alike

        def both(a: int, b: int, c: int, d: int) -> int:
            p, q, r, s = connector[a], connector[b], connector[c], connector[d]
            changed = (p != r) + (q != s)
            if changed and alike:
                changed = min(changed, (p != s) + (q != r))
            walks = len({zone[a], zone[b], zone[c], zone[d]}) - 1
            return 2 * MOVE_S + changed * CONNECTOR_S + walks * ZONE_S

        def cost(i: int, j: int) -> int:
            a, b, c, d = first[i], second[i], first[j], second[j]
            if a == c:
                x, y = b, d
            elif b == d:
                x, y = a, c
            elif not alike:
                return both(a, b, c, d)
            elif a == d:
                x, y = b, c
            elif b == c:
                x, y = a, d
            else:
                return both(a, b, c, d)
            if x == y:
                return 0
            if connector[x] == connector[y]:
                return MOVE_S
            return MOVE_S + CONNECTOR_S + (ZONE_S if zone[x] != zone[y] else 0)

        self._costs = cost
        return cost
