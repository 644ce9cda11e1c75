"""Which lead goes where: red and black, or the other way round where a reading is the same for both."""

from __future__ import annotations

from benchcheck.harness.circuit import circuit_of
from benchcheck.harness.model import Harness, PartKind
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import ref_of

Leads = tuple[str, str]  # the contacts of red and black; empty: in the hand
IN_HAND: Leads = ("", "")


class LeadRule:
    """Whether the two leads of an ohms reading may be exchanged.

    They may on a dead bench with all units out, where there is nothing but wire and resistors. Units hold diodes that
    nobody declared. A diode among the parts makes a difference only where current can reach it from both leads.
    """

    def __init__(self, harness: Harness | None = None) -> None:
        parts = harness.parts if harness is not None else ()
        ends = [end for part in parts if part.kind is PartKind.DIODE for end in (part.a, part.b)]
        self._at_diodes: dict[str, int] = {}
        if harness is not None and ends:
            circuit = circuit_of(harness)
            for number, end in enumerate(ends):
                if end not in self._at_diodes:
                    self._at_diodes |= dict.fromkeys(circuit.component(end), number)

    def alike(self, red: str, black: str, state: BenchState) -> bool:
        """Whether red and black of an ohms reading between two contacts may be exchanged in a bench state."""
        if state.on_unit or state.supply_on:
            return False
        one, other = self._at_diodes.get(red), self._at_diodes.get(black)
        return one is None or other is None or one == other


def put_down(now: Leads, red: str, black: str, *, alike: bool) -> Leads:
    """Where the leads go for a reading between two contacts, from where they are: so that the fewest are moved.

    Where as many move either way, so that the fewest go to another connector; else as the reading has them.
    """
    if not alike or now[0] == red or now[1] == black:
        return red, black
    if now[0] == black or now[1] == red:
        return black, red
    here, there = (ref_of(now[0]), ref_of(now[1])), (ref_of(red), ref_of(black))
    straight = (here[0] != there[0]) + (here[1] != there[1])
    crossed = (here[0] != there[1]) + (here[1] != there[0])
    return (black, red) if crossed < straight else (red, black)
