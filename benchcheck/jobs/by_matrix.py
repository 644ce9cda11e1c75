"""A switch matrix as the hands of a dead stage: it puts the meter's rails on contacts, and clips contacts to chassis.

What it can't do a person does: pull a protector, lift a lug, plug units in. While units are in or the supply is on it is off the
harness, and a person holds the probes. Where the bench is said to be unattended, steps that need a person are left out, with
the reason, and are still to do.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from benchcheck.bench.clock import Clock
from benchcheck.bench.instruments.matrix import Matrix
from benchcheck.jobs.asked import Question, QuestionKind, SkipAsked
from benchcheck.jobs.by_hand import ByHand
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.errors import LinkLost, SetupError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading
from benchcheck.words.settling import SettleRule, Settling, Wanted, count_of

# Relays have settled when they are read back: what is waited for is the meter (common practice, no source).
RULE = SettleRule(readings=3, within_s=0.06)
PAUSE_S = 0.01
START = (
    "plug the matrix's leads onto the harness, its chassis lead on {chassis}; everything else is off: units, clips, plugs, loads",
    "every protector is in, the supply is off, and nobody touches the harness while the matrix works",
)


class ByMatrix:
    """An Operator. `by_hand` is the person who does the rest; `unattended` says that nobody is there."""

    simulated = False

    def __init__(
        self, matrix: Matrix, by_hand: ByHand, chassis: str, spec: MeterSpec, clock: Clock, *, unattended: bool = False
    ) -> None:
        self._matrix = matrix
        self._by_hand = by_hand
        self._chassis = chassis
        self._spec = spec
        self._clock = clock
        self._nobody = unattended
        self._there: BenchState | None = None  # with the matrix on the harness; None: it isn't, or that is not known
        self._links: frozenset[str] = frozenset()
        self._why = ""
        self._channels: tuple[str, ...] = ()
        self.unattended = True  # for now: what went wrong is not asked of anybody

    @property
    def waits(self) -> bool:
        return self._there is None and self._by_hand.waits

    def bring_to(self, now: BenchState, wanted: BenchState) -> None:
        if not self._can(wanted):
            self._off_the_harness(now, wanted)
            return
        bare = replace(wanted, links=frozenset())
        if self._there is None:
            self._matrix.open_all()
            moves = [text.format(chassis=self._chassis) for text in START]
            moves += ALL_OPEN.changes_to(bare)
            self._by_hand.ask(Question(QuestionKind.STATE, tuple(moves)))
        elif moves := list(self._there.changes_to(bare)):
            self._open()
            self._needs_a_person(", ".join(moves))
            self._by_hand.ask(Question(QuestionKind.STATE, tuple(moves)))
        self.unattended = True
        self._there, self._links = bare, wanted.links

    def touch(self, red: str, black: str, *, four_wire: bool = False) -> None:
        self._channels, self._why = (), ""
        if self._there is None:
            self._by_hand.touch(red, black, four_wire=four_wire)
            return
        # what is clipped to chassis hangs on the rail that is on chassis
        joined = {*self._links, self._chassis} if self._links else set()
        reds = {red} | (joined if red in joined else set())
        blacks = {black} | (joined if black in joined else set())
        missing = sorted(c for c in reds if c not in self._matrix.red)
        missing += sorted(c for c in blacks if c not in self._matrix.black)
        if four_wire:
            self._why = "the matrix has one red and one black rail, four wires need two of each"
        elif joined and (red in joined) == (black in joined):
            self._why = (
                f"the matrix has two rails: {', '.join(sorted(joined))} joined, {red} and {black} would be three"
            )
        elif missing:
            self._why = f"the matrix has no channel for {', '.join(missing)}: name it in bench.toml under [matrix]"
        if self._why:
            self._open()
            return
        try:
            self._channels = self._matrix.join(reds, blacks)
        except LinkLost:
            raise
        except SetupError as trouble:
            self._why = f"the matrix {trouble.text}"

    def leads_together(self, contact: str, why: str) -> None:
        if self._there is None:
            self._by_hand.leads_together(contact, why)
            return
        links, self._links = self._links, frozenset()
        try:
            self.touch(contact, contact)
        finally:
            self._links = links

    def leads_read(self) -> None:
        if self._there is None:
            self._by_hand.leads_read()

    def take(self, read: Callable[[], Reading], unit: str, *, lifted_passes: bool) -> Reading:
        if self._there is None:
            return self._by_hand.take(read, unit, lifted_passes=lifted_passes)
        if self._why:
            return Reading.none(self._why, unit)
        # contact is by the channels, which were read back, so every reading counts from the first
        settling = Settling(Wanted(unit, 0.0, lifted_passes, count_of(self._spec, unit)), RULE)
        settling.press()
        while settling.taken is None:
            settling.feed(self._clock.monotonic_ns() / 1e9, read())
            self._clock.sleep(PAUSE_S)
        taken = settling.taken
        detail = {**taken.detail, "taken": "by the matrix", "channels": list(self._channels)}
        detail.pop("contact", None)
        return replace(taken, detail=detail)

    def load(self, at: tuple[str, str] | None, amps: float) -> None:
        self._by_hand.load(at, amps)

    def tap(self, name: str, contact: str, ground: str, baud: int) -> None:
        self._by_hand.tap(name, contact, ground, baud)

    def loop(self, name: str, send: str, hear: str, ground: str, bridge: tuple[str, str] | None) -> None:
        self._needs_a_person("a serial tap is joined to two wires")
        self._by_hand.loop(name, send, hear, ground, bridge)

    def loop_off(self, name: str) -> None:
        self._by_hand.loop_off(name)

    def _can(self, wanted: BenchState) -> bool:
        off = (wanted.on_unit, wanted.breakout, wanted.plugs, wanted.coded)
        return not any(off) and not wanted.supply_on

    def _off_the_harness(self, now: BenchState, wanted: BenchState) -> None:
        self._needs_a_person(f"the matrix comes off the harness for: {wanted}")
        if self._there is not None:
            self._open()
            self._there = None
            self._by_hand.forget()  # with the matrix's leads, everything comes off
        self.unattended = False
        self._by_hand.bring_to(now, wanted)

    def _needs_a_person(self, what: str) -> None:
        if self._nobody:
            raise SkipAsked(f"nobody is there, and it needs a person: {what}")

    def _open(self) -> None:
        """All channels open before a person reaches in."""
        self._matrix.open_all()
