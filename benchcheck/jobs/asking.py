"""Turns a check's requests into readings: brings the bench into the state, moves the leads, asks the instrument."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Protocol

from benchcheck.bench.bench import Bench
from benchcheck.bench.instruments.meter import Meter
from benchcheck.harness.model import Harness
from benchcheck.harness.power import current_limit_a, main_feed
from benchcheck.jobs.asked import ZeroAsked
from benchcheck.jobs.breakouts import Breakouts
from benchcheck.jobs.fixed_lead import FixedLead
from benchcheck.jobs.leads import Leads
from benchcheck.jobs.listening.hearing import Hearing
from benchcheck.jobs.listening.loop_back import send_round
from benchcheck.jobs.operator import Operator
from benchcheck.jobs.probes import Probes
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.errors import LinkLost, OverCurrent
from benchcheck.words.lead_zero import VALID_HOURS, LeadZero
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Step

NO_LEAVE_TO_SEND = "it sends on the line, which has to be allowed: check --transmit"
UNITS = {Quantity.OHMS: "ohm", Quantity.VOLTS: "V", Quantity.AMPS: "A"}


class HandSwitched(Protocol):
    """A supply that a person sets and switches, because the bench has none that takes commands."""

    @property
    def identity(self) -> str: ...
    def set(self, volts: float, limit_a: float) -> None: ...
    def on(self, *, ramp: bool = False) -> None: ...
    def off(self) -> None: ...
    def cut_off(self) -> str: ...
    def leave_off(self) -> None: ...
    def amps(self) -> Reading: ...


class Asker:
    """Answers requests on one bench.

    `on_state` is told of every change of bench state that was confirmed, `on_power_off` of the volts read
    before ohms are measured after power was on, `on_zeroed` of every measuring of the leads, `on_contact_lost` of
    steps that have to be read again and why. `transmit`: whether bytes may be sent on a line.
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
        on_contact_lost: Callable[[Mapping[str, str]], None] = lambda again: None,
        permit: Callable[[BenchState], BenchState] = lambda state: state,
        may_power: Callable[[], str] = lambda: "",
        meter: Meter | None = None,
        supply: HandSwitched | None = None,
        transmit: bool = False,
    ) -> None:
        self._harness = harness
        self._transmit = transmit
        self._bench = bench
        self._operator = operator
        self._hearing = hearing
        self._on_state = on_state
        self._meter = meter
        self._hand_supply = supply
        self.permit = permit
        self._may_power = may_power
        self._breakouts = Breakouts(harness, bench.config.leads, bench.clock.wall_ns)
        hours = getattr(bench.config, "lead_hours", VALID_HOURS)
        self.leads = Leads(operator, harness.chassis, bench.clock.monotonic_ns, on_zeroed, hours)
        self._fixed = FixedLead(harness, on_contact_lost)
        self._probes = Probes(harness, operator, lambda: self.meter, self.leads, self._fixed, on_power_off)
        self._powered: set[BenchState] = set()  # states in which the supply has come on without trouble
        self._state: BenchState | None = None

    @property
    def meter(self) -> Meter:
        """The bench's meter, or the one that was given: readings that a person types in."""
        return self._meter if self._meter is not None else self._bench.meter

    @property
    def state(self) -> BenchState | None:
        """The bench state that was last confirmed; None where that is not known."""
        return self._state

    def answer(self, request: Request, step: Step | None = None) -> Reading:
        """The reading for a request. A link that is lost gives a reading of NONE, and the job goes on.

        `step` is the one that it is for; none while a fault is looked for.
        """
        self._probes.step = step
        while True:
            try:
                if self._fixed.batch is not None and not self._probes.goes_on(request, self.permit(request.state)):
                    self.end_batch()
                return self._through_breakouts(request, self._answer(request))
            except ZeroAsked:
                self.leads.forget()
            except OverCurrent as cut:
                why = f"the supply {cut.text}"
                if request.quantity is Quantity.AMPS:
                    return Reading(ReadingState.OVER, "A", over_above=cut.limit_a, detail={"why": why})
                return Reading.none(why, UNITS.get(request.quantity, ""))
            except LinkLost as lost:
                return Reading(ReadingState.NONE, UNITS.get(request.quantity, ""), detail={"why": str(lost.text)})

    def _answer(self, request: Request) -> Reading:
        state = self.permit(request.state)
        if request.quantity is Quantity.CAN and request.source not in self._bench.buses:
            return _not_here(f"CAN adapter for {request.source}", "[[can]]", "frames")
        if request.quantity in (Quantity.LINE, Quantity.LOOP) and not self._bench.taps:
            return _not_here("serial port to listen with", "[[serial]]", "bytes")
        refused = self._may_power() if state.supply_on else ""
        if refused:
            return Reading.none(refused, UNITS.get(request.quantity, ""))
        if missing := self._breakouts.refused(state):
            return Reading.none(missing, UNITS.get(request.quantity, ""))
        match request.quantity:
            case Quantity.CAN:
                self._listen_in(state)
                return self._unless_cut_off(self._hearing.bus(request.source), state)
            case Quantity.LINE:
                self._listen_in(state)
                heard = self._hearing.line(self._operator, request.source, request.sender, request.red, request.black)
                return self._unless_cut_off(heard, state)
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
                return self._probes.ohms(request, state)
            case Quantity.VOLTS:
                self.bring_to(state)
                self._operator.load(request.load_at, request.load_a)
                return self._unless_cut_off(self._probes.volts(request, state), state)
            case Quantity.LOOP:
                if not self._transmit:
                    return Reading.none(NO_LEAVE_TO_SEND, "bytes")
                self.bring_to(state)
                self._operator.load(None, 0.0)
                link = next(entry for entry in self._harness.links if entry.name == request.source)
                return send_round(self._bench, self._operator, link, request)
            case Quantity.LOOK:
                return Reading(ReadingState.NONE, "", detail={"why": "nobody is there to look"})
            case Quantity.EARLIER:
                return Reading.none("nothing is known of an earlier step")  # the runner answers it, who has the board

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
        if not self._probes.was_powered or bare == state:
            return None
        self.bring_to(bare)
        self._operator.load(None, 0.0)
        return self._probes.live(request, bare)

    def end_batch(self) -> None:
        """No more readings with the lead that stayed: it is proved once more, where it had to be."""
        self._probes.end_batch(self._state)

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
            try:
                self._supply_on(wanted)
            except OverCurrent:
                # everything is in place, and the supply is off
                self._state = replace(wanted, supply_on=False)
                self._on_state(self._state, changes[:-1])
                raise
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
            self._probes.was_powered = True
            supply.set(feed.nominal_v, current_limit_a(self._harness, state))
            # what is plugged for the first time is powered in steps
            supply.on(ramp=state not in self._powered)
            self._powered.add(state)

    def _unless_cut_off(self, reading: Reading, state: BenchState) -> Reading:
        """Volts with the supply on; no reading where it has cut off meanwhile, which is no dead circuit."""
        if not state.supply_on or main_feed(self._harness) is None:
            return reading
        cut = (self._hand_supply or self._bench.supply).cut_off()
        if not cut:
            return reading
        self._state = None  # so that it is switched on anew
        return Reading.none(f"the supply {cut}: {reading.text} read meanwhile", reading.unit)

    def _supply_off(self) -> None:
        if self._hand_supply is not None:
            self._hand_supply.off()
        elif self._bench.config.supply is not None:
            self._bench.supply.off()

    def leave_safe(self) -> None:
        """Supply off, listening stopped."""
        self._fixed.end("the fixed lead was not proved after its batch, which was broken off")
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
