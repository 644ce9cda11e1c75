"""Turns a check's requests into readings: brings the bench into the state, moves the leads, asks the instrument."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from benchcheck.bench.bench import Bench
from benchcheck.bench.meter import Meter
from benchcheck.harness.model import Harness
from benchcheck.harness.power import current_limit_a, main_feed
from benchcheck.jobs.asked import ZeroAsked
from benchcheck.jobs.breakouts import Breakouts
from benchcheck.jobs.hearing import Hearing
from benchcheck.jobs.leads import Leads
from benchcheck.jobs.operator import Operator
from benchcheck.plan.leads import IN_HAND, LeadRule, put_down
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import LinkLost
from benchcheck.words.lead_zero import LeadZero
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity

UNITS = {Quantity.OHMS: "ohm", Quantity.VOLTS: "V", Quantity.AMPS: "A"}


class HandSwitched(Protocol):
    """A supply that a person sets and switches, because the bench has none that takes commands."""

    @property
    def identity(self) -> str: ...
    def set(self, volts: float, limit_a: float) -> None: ...
    def on(self) -> None: ...
    def off(self) -> None: ...
    def leave_off(self) -> None: ...
    def amps(self) -> Reading: ...


class Asker:
    """Answers requests on one bench.

    `on_state` is told of every change of bench state that was confirmed, `on_power_off` of the volts read
    before ohms are measured after power was on, `on_zeroed` of every measuring of the leads.
    """

    def __init__(
        self,
        harness: Harness,
        bench: Bench,
        operator: Operator,
        hearing: Hearing,
        *,
        on_state: Callable[[BenchState, tuple[str, ...]], None],
        on_power_off: Callable[[str, str, Reading, bool], None],
        on_zeroed: Callable[[LeadZero, str], None] = lambda zero, meter: None,
        permit: Callable[[BenchState], BenchState] = lambda state: state,
        may_power: Callable[[], str] = lambda: "",
        meter: Meter | None = None,
        supply: HandSwitched | None = None,
    ) -> None:
        self._harness = harness
        self._bench = bench
        self._operator = operator
        self._hearing = hearing
        self._on_state = on_state
        self._on_power_off = on_power_off
        self._meter = meter
        self._hand_supply = supply
        self.permit = permit
        self._may_power = may_power
        self._breakouts = Breakouts(harness, bench.config.leads, bench.clock.wall_ns)
        self.leads = Leads(operator, harness.chassis, bench.clock.monotonic_ns, on_zeroed)
        self._lead_rule = LeadRule(harness)
        self._touching = IN_HAND
        self._state: BenchState | None = None
        self._was_powered = True  # not known at the start of a session, so volts are read before the first ohms

    @property
    def meter(self) -> Meter:
        """The bench's meter, or the one that was given: readings that a person types in."""
        return self._meter if self._meter is not None else self._bench.meter

    @property
    def state(self) -> BenchState | None:
        """The bench state that was last confirmed; None where that is not known."""
        return self._state

    def answer(self, request: Request) -> Reading:
        """The reading for a request. A link that is lost gives a reading of NONE, and the job goes on."""
        while True:
            try:
                return self._through_breakouts(request, self._answer(request))
            except ZeroAsked:
                self.leads.forget()
            except LinkLost as lost:
                return Reading(ReadingState.NONE, UNITS.get(request.quantity, ""), detail={"why": str(lost.text)})

    def _answer(self, request: Request) -> Reading:
        state = self.permit(request.state)
        if request.quantity is Quantity.CAN and request.source not in self._bench.buses:
            return _not_here(f"CAN adapter for {request.source}", "[[can]]", "frames")
        if request.quantity is Quantity.LINE and not self._bench.taps:
            return _not_here("serial port to listen with", "[[serial]]", "bytes")
        refused = self._may_power() if state.supply_on else ""
        if refused:
            return Reading.none(refused, UNITS.get(request.quantity, ""))
        if missing := self._breakouts.refused(state):
            return Reading.none(missing, UNITS.get(request.quantity, ""))
        match request.quantity:
            case Quantity.CAN:
                self._listen_in(state)
                return self._hearing.bus(request.source)
            case Quantity.LINE:
                self._listen_in(state)
                return self._hearing.line(self._operator, request.source, request.sender, request.red, request.black)
            case Quantity.AMPS:
                self.bring_to(state)
                # what the technician drew for a drop is no unit's current; only who asks for a load gets one
                self._operator.load(request.load_at, request.load_a)
                return (self._hand_supply or self._bench.supply).amps()
            case Quantity.OHMS:
                if live := self._live_before_joining(request, state):
                    return live
                self.bring_to(state)
                self._operator.load(None, 0.0)
                return self._ohms(request, state)
            case Quantity.VOLTS:
                self.bring_to(state)
                self._operator.load(request.load_at, request.load_a)
                self._touch(request.red, request.black)
                return self.meter.volts()
            case Quantity.LOOK:
                return Reading(ReadingState.NONE, "", detail={"why": "nobody is there to look"})

    def _through_breakouts(self, request: Request, reading: Reading) -> Reading:
        state = self.permit(request.state)
        if self._operator.simulated and not self._bench.config.leads:
            return reading  # the hands of a simulated bench have leads without resistance
        ohms = request.quantity is Quantity.OHMS
        return self._breakouts.seen_through(reading, state, (request.red, request.black), ohms=ohms)

    def _live_before_joining(self, request: Request, state: BenchState) -> Reading | None:
        """After power, before clips and plugs join anything to chassis: the volts, while every feed can be reached.

        A refusal, or None. Nothing is joined to a circuit that may be live.
        """
        bare = replace(state, plugs=frozenset(), links=frozenset(), coded=frozenset())
        if not self._was_powered or bare == state:
            return None
        self.bring_to(bare)
        self._operator.load(None, 0.0)
        if live := self._feeds_live(bare, request.red, request.black):
            return Reading.none(live, "ohm")
        self._touch(request.red, request.black)
        return self._pair_live(request.red, request.black)

    def _ohms(self, request: Request, state: BenchState) -> Reading:
        """Ohms, once the volts are known to be off and, with two wires, the leads are measured."""
        red, black = request.red, request.black
        alike = self._lead_rule.alike(red, black, state)
        if self._was_powered:
            if live := self._feeds_live(state, red, black):
                return Reading.none(live, "ohm")
            self._touch(red, black)
            if pair_live := self._pair_live(red, black):
                return pair_live
        if request.four_wire and self.meter.spec.four_wire:
            self._touch(red, black, alike=alike, four_wire=True)
            return self.meter.kelvin_ohms()
        if unknown := self.leads.measure(self.meter):
            return unknown
        self._touch(red, black, alike=alike)
        return self.leads.take_off(self.meter.ohms(), self.meter)

    def _touch(self, red: str, black: str, *, alike: bool = False, four_wire: bool = False) -> None:
        """Have the leads put down; where they are alike, so that a lead that is on one of the contacts stays there."""
        self._touching = put_down(self._touching, red, black, alike=alike)
        if four_wire:
            self._operator.touch(*self._touching, four_wire=True)
        else:
            self._operator.touch(*self._touching)

    def bring_to(self, wanted: BenchState) -> None:
        """Bring the bench into a state: supply off before anything is moved, on again when all is in place."""
        now = self._state
        if now == wanted:
            return
        if now is None or now.supply_on:
            self._supply_off()
        self._state = None  # not known while things are moved, should that be broken off
        self._operator.load(None, 0.0)
        changes = (now or ALL_OPEN).changes_to(wanted)
        self._operator.bring_to(now or ALL_OPEN, wanted)
        if wanted.supply_on:
            self._supply_on(wanted)
        self._state = wanted
        self._on_state(wanted, changes)

    def _listen_in(self, state: BenchState) -> None:
        # Boot times count from power-on, so the listening starts with everything in place and the supply off.
        if self._hearing.running and self._state == state:
            return
        self.bring_to(BenchState(state.on_unit, state.breakout, state.lifted, state.opened, supply_on=False))
        self._hearing.start()
        self.bring_to(state)
        self._hearing.powered_on()

    def _supply_on(self, state: BenchState) -> None:
        feed = main_feed(self._harness)
        if feed is not None:
            supply = self._hand_supply or self._bench.supply
            self._was_powered = True
            supply.set(feed.nominal_v, current_limit_a(self._harness, state))
            supply.on()

    def _supply_off(self) -> None:
        if self._hand_supply is not None:
            self._hand_supply.off()
        elif self._bench.config.supply is not None:
            self._bench.supply.off()

    def _feeds_live(self, state: BenchState, red: str, black: str) -> str:
        """After power: read every feed at its source before the first ohms. Why ohms must wait; empty when all are dead."""
        closed = state.on_unit - state.breakout
        for feed in self._harness.feeds:
            if ref_of(feed.source) not in closed and ref_of(feed.ground) not in closed:
                if (feed.source, feed.ground) == (red, black):
                    continue  # it is the pair itself, which is read next
                self._touch(feed.source, feed.ground)
                live = self._read_near_zero(feed.source, feed.ground)
                if live:
                    return live
        return ""

    def _pair_live(self, red: str, black: str) -> Reading | None:
        """After power: read the pair itself before its ohms are. A refusal, or None."""
        live = self._read_near_zero(red, black)
        if live:
            return Reading.none(live, "ohm")
        self._was_powered = False
        return None

    def _read_near_zero(self, red: str, black: str) -> str:
        volts = self.meter.volts()
        near_zero_v = self._harness.limits.near_zero_v
        near_zero = volts.state is ReadingState.VALUE and abs(volts.value) + volts.uncertainty <= near_zero_v
        self._on_power_off(red, black, volts, near_zero)
        return (
            ""
            if near_zero
            else f"{volts.text} between {red} and {black}: no ohms before it is within {near_zero_v:g} V"
        )

    def leave_safe(self) -> None:
        """Supply off, listening stopped."""
        self._hearing.stop()
        if self._hand_supply is not None:
            self._hand_supply.leave_off()
        else:
            self._supply_off()
        if self._state is not None and self._state.supply_on:
            now, self._state = self._state, replace(self._state, supply_on=False)
            self._on_state(self._state, now.changes_to(self._state))


def _not_here(what: str, table: str, unit: str) -> Reading:
    """No reading, and nobody has to move anything for it."""
    return Reading.none(f"this bench has no {what}: name it in bench.toml under {table}", unit)
