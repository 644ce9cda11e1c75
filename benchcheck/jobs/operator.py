"""Who moves things on the bench: a person who is told, or the hands of a simulated bench."""

from __future__ import annotations

from typing import Protocol

from benchcheck.bench.hands import Hands
from benchcheck.words.bench_state import BenchState


class Operator(Protocol):
    """Brings the bench into a state and puts leads on contacts; returns when it is done."""

    simulated: bool

    def bring_to(self, now: BenchState, wanted: BenchState) -> None: ...

    def touch(self, red: str, black: str, *, four_wire: bool = False) -> None: ...

    def leads_together(self, contact: str, why: str) -> None:
        """Hold the two leads together, off the harness; hands that can't bring both to `contact`.

        `why` is what was wrong with the time before; empty at the first.
        """

    def load(self, at: tuple[str, str] | None, amps: float) -> None:
        """Draw `amps` between two contacts; None takes the load off."""

    def tap(self, name: str, contact: str, ground: str, baud: int) -> None: ...


class SimulatedOperator:
    """The hands of a simulated bench."""

    simulated = True

    def __init__(self, hands: Hands) -> None:
        self._hands = hands
        self._loaded: tuple[tuple[str, str], float] | None = None
        self._touched: tuple[str, str] | None = None

    def bring_to(self, now: BenchState, wanted: BenchState) -> None:
        self._hands.bring_to(wanted)
        self._touched = None

    def touch(self, red: str, black: str, *, four_wire: bool = False) -> None:
        if self._touched != (red, black):
            self._hands.touch(red, black)
            self._touched = (red, black)

    def leads_together(self, contact: str, why: str) -> None:
        self.touch(contact, contact)

    def load(self, at: tuple[str, str] | None, amps: float) -> None:
        wanted = (at, amps) if at is not None else None
        if wanted == self._loaded:
            return
        if at is None:
            self._hands.unload()
        else:
            self._hands.load(*at, amps)
        self._loaded = wanted

    def tap(self, name: str, contact: str, ground: str, baud: int) -> None:
        self._hands.tap(name, contact, ground, baud)
