"""Who moves things on the bench: a person who is told, or the hands of a simulated bench."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from benchcheck.bench.hands import Hands
from benchcheck.words.bench_state import BenchState
from benchcheck.words.reading import Reading


class Operator(Protocol):
    """Brings the bench into a state and puts leads on contacts; returns when it is done."""

    simulated: bool
    unattended: bool  # nobody is there who could be asked to do it once more

    @property
    def waits(self) -> bool:
        """Whether the next reading is the first sign that the leads are where they were asked to be."""

    def bring_to(self, now: BenchState, wanted: BenchState) -> None: ...

    def touch(self, red: str, black: str, *, four_wire: bool = False) -> None: ...

    def leads_together(self, contact: str, why: str) -> None:
        """Hold the two leads together, off the harness; hands that can't bring both to `contact`.

        `why` is what was wrong with the time before; empty at the first.
        """

    def leads_read(self) -> None:
        """They may be let go again."""

    def take(self, read: Callable[[], Reading], unit: str, *, lifted_passes: bool) -> Reading:
        """The meter's reading, once the leads are where they were asked to be.

        `lifted_passes`: what lifted probes read would pass, so that contact must be said or proved.
        """

    def load(self, at: tuple[str, str] | None, amps: float) -> None:
        """Draw `amps` between two contacts; None takes the load off."""

    def tap(self, name: str, contact: str, ground: str, baud: int) -> None: ...

    def loop(self, name: str, send: str, hear: str, ground: str, bridge: tuple[str, str] | None) -> None:
        """Join a tap's transmit wire to `send` and its receive wire to `hear`; `bridge` are two contacts to join."""

    def loop_off(self, name: str) -> None:
        """Take all of that off again."""


class SimulatedOperator:
    """The hands of a simulated bench."""

    simulated = True
    unattended = True
    waits = False

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

    def leads_read(self) -> None:
        """Nobody holds them."""

    def take(self, read: Callable[[], Reading], unit: str, *, lifted_passes: bool) -> Reading:
        return read()  # these hands have no need to settle

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

    def loop(self, name: str, send: str, hear: str, ground: str, bridge: tuple[str, str] | None) -> None:
        self._hands.loop(name, send, hear, ground, bridge)

    def loop_off(self, name: str) -> None:
        self._hands.loop_off(name)
