"""One connected piece of a resistor network, solved so that any two of its contacts can be asked for.

Contacts are taken out one by one, the one with fewest neighbours first; what it joined is joined directly by the
star-mesh rule, which changes no resistance between those that stay. Wiring is nearly a tree (a ground stud with a thousand
wires has no loop in it), so hardly anything is ever added, and the work grows with the number of wires.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from heapq import heapify, heappop, heappush
from typing import Protocol


class Resistor(Protocol):
    """What a piece is made of: a resistance between two contacts, in ohms."""

    @property
    def a(self) -> str: ...
    @property
    def b(self) -> str: ...
    @property
    def ohm(self) -> float: ...


# What no wire goes below, so that a conductance stays finite.
LEAST_OHM = 1e-6


class Piece:
    """A connected piece: `touching` gives the resistors at each of its contacts."""

    def __init__(self, contacts: Collection[str], touching: Mapping[str, Sequence[Resistor]]) -> None:
        # contact -> when it was taken out
        self._turn: dict[str, int] = {}
        # by turn: the conductance that it had in all, and the share of each neighbour that was still there
        self._siemens: list[float] = []
        self._shares: list[tuple[tuple[str, float], ...]] = []
        self._take_out(_conductances(contacts, touching))

    def _take_out(self, joined: dict[str, dict[str, float]]) -> None:
        waiting = [(len(others), contact) for contact, others in joined.items()]
        heapify(waiting)
        while len(joined) > 1:
            degree, contact = heappop(waiting)
            others = joined.get(contact)
            if others is None or len(others) != degree:
                continue  # an entry from before its neighbours changed
            del joined[contact]
            total = sum(others.values())
            self._turn[contact] = len(self._siemens)
            self._siemens.append(total)
            self._shares.append(tuple((other, siemens / total) for other, siemens in others.items()))
            met = list(others.items())
            for number, (one, siemens) in enumerate(met):
                mine = joined[one]
                del mine[contact]
                for other, more in met[:number]:
                    added = siemens * more / total
                    mine[other] = joined[other][one] = mine.get(other, 0.0) + added
            for one in others:
                heappush(waiting, (len(joined[one]), one))
        for contact in joined:  # the last, against which the others were taken out
            self._turn[contact] = len(self._siemens)

    def ohms(self, a: str, b: str) -> float:
        """Resistance between two contacts of the piece, in ohms: the power that one ampere loses on its way."""
        turn, siemens, shares = self._turn, self._siemens, self._shares
        amperes: dict[str, float] = {a: 1.0, b: -1.0}
        waiting = [(turn[a], a), (turn[b], b)]
        heapify(waiting)
        last, watts = len(siemens), 0.0
        while waiting:
            at, contact = heappop(waiting)
            here = amperes.pop(contact, 0.0)
            if at == last or here == 0.0:
                continue
            watts += here * here / siemens[at]
            for other, share in shares[at]:
                if other not in amperes:
                    amperes[other] = 0.0
                    heappush(waiting, (turn[other], other))
                amperes[other] += here * share
        return watts


def _conductances(contacts: Collection[str], touching: Mapping[str, Sequence[Resistor]]) -> dict[str, dict[str, float]]:
    """Contact -> each contact that it is joined to, and the conductance between them; sorted, so that it never differs."""
    joined: dict[str, dict[str, float]] = {}
    for contact in sorted(contacts):
        others: dict[str, float] = {}
        for resistor in touching.get(contact, ()):
            other = resistor.b if resistor.a == contact else resistor.a
            if other != contact:
                others[other] = others.get(other, 0.0) + 1 / max(resistor.ohm, LEAST_OHM)
        joined[contact] = others
    return joined
