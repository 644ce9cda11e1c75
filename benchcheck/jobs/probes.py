"""What the meter reads through its leads: put down, waited for, ohms only on dead circuits, contact where it must be proved."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from benchcheck.bench.instruments.meter import Meter
from benchcheck.harness.model import Harness
from benchcheck.jobs.asked import SkipAsked
from benchcheck.jobs.fixed_lead import PROVED, Batch, FixedLead
from benchcheck.jobs.leads import Leads
from benchcheck.jobs.operator import Operator
from benchcheck.plan.leads import IN_HAND, LeadRule, put_down
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import LinkLost
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.settling import BY_WORD, passes_lifted
from benchcheck.words.step import Quantity, Step


class Probes:
    """Reads ohms and volts in a bench state that is there already.

    meter         asked for when it is first needed
    on_power_off  is told of the volts that were read before ohms: contacts, reading, whether it is near zero
    was_powered   power was on since the volts were read; at the start of a session that is not known
    step          the step that is being done; none while a fault is looked for
    """

    def __init__(
        self,
        harness: Harness,
        operator: Operator,
        meter: Callable[[], Meter],
        leads: Leads,
        fixed: FixedLead,
        on_power_off: Callable[[str, str, Reading, bool], None],
    ) -> None:
        self._limits = harness.limits
        self._feeds = harness.feeds
        self._operator = operator
        self._meter = meter
        self._leads = leads
        self._fixed = fixed
        self._on_power_off = on_power_off
        self._lead_rule = LeadRule(harness)
        self._touching = IN_HAND
        self._volts_read_in: BenchState | None = None  # the bench state whose ohms have begun
        self.was_powered = True
        self.step: Step | None = None

    def volts(self, request: Request, state: BenchState) -> Reading:
        """DC volts between the request's contacts."""
        if unproved := self._prove_fixed_lead(request, state):
            return unproved
        self._touch(request.red, request.black)
        return self._take(self._meter().volts, "V")

    def ohms(self, request: Request, state: BenchState) -> Reading:
        """Ohms, once the volts are known to be off and, with two wires, the leads are measured."""
        red, black, meter = request.red, request.black, self._meter()
        alike = self._lead_rule.alike(red, black, state)
        if self.was_powered and (live := self.live(request, state)):
            return live
        four_wire = request.four_wire and meter.spec.four_wire
        unknown = None if four_wire else self._leads.measure(meter)
        if unknown is not None:
            return unknown
        if unproved := self._prove_fixed_lead(request, state):
            return unproved
        self._touch(red, black, alike=alike, four_wire=four_wire)
        reading = self._ohms_after_volts(state, four_wire=four_wire)
        if not state.on_unit or reading.state is ReadingState.NONE:
            return reading
        self._touch(black, red, four_wire=four_wire)
        return other_way(reading, self._ohms_now(four_wire=four_wire))

    def live(self, request: Request, state: BenchState) -> Reading | None:
        """After power: volts of every feed at its source, then of the pair itself. Why ohms must wait, or None: all are dead."""
        closed, pair = state.on_unit - state.breakout, (request.red, request.black)
        for feed in self._feeds:
            if ref_of(feed.source) in closed or ref_of(feed.ground) in closed or (feed.source, feed.ground) == pair:
                continue  # the pair itself is read last
            self._touch(feed.source, feed.ground)
            if live := self._read_near_zero(feed.source, feed.ground):
                return Reading.none(live, "ohm")
        self._touch(*pair)
        if live := self._read_near_zero(*pair):
            return Reading.none(live, "ohm")
        self.was_powered = False
        self._volts_read_in = state
        return None

    # --- the lead that stays ----------------------------------------------------------------------------------

    def goes_on(self, request: Request, state: BenchState) -> bool:
        """Whether a request belongs to the batch of readings that is going on, so that its fixed lead stays."""
        batch = self._fixed.batch
        if batch is None or (batch.state, batch.unit) != (state, _unit(request)):
            return False
        return batch.contact in (request.red, request.black) and self._wants_proof(request)

    def end_batch(self, state: BenchState | None) -> None:
        """The fixed lead once more, after its batch; what was read in between is due again where it is not proved."""
        batch = self._fixed.batch
        if batch is None:
            return
        try:
            doubt = "things were moved" if state != batch.state else batch.doubt(self._proof(batch))
        except SkipAsked as skipped:
            doubt = f"the fixed lead was not proved afterwards: {skipped.reason}"
        except LinkLost as lost:
            doubt = f"the fixed lead was not proved afterwards: {lost.text}"
        self._fixed.end(doubt)

    def _wants_proof(self, request: Request) -> bool:
        """Whether contact must be proved: open passes, a person holds the leads, and the profile does not take a word for it."""
        if self._limits.contact_by_word or self.step is None or self._operator.unattended or not _unit(request):
            return False
        return passes_lifted(self.step.band, _unit(request), self._limits.near_zero_v)

    def _prove_fixed_lead(self, request: Request, state: BenchState) -> Reading | None:
        """Before the first reading of a batch. No reading, where the lead is not proved; None otherwise."""
        if self._fixed.batch is not None or not self._wants_proof(request):
            return None
        unit = _unit(request)
        batch = self._fixed.new_batch(request.black, state, unit) or self._fixed.new_batch(request.red, state, unit)
        if batch is None:
            return None  # it stays somebody's word, which this profile does not take
        if doubt := batch.doubt(self._proof(batch)):
            return Reading.none(doubt, batch.unit)
        self._fixed.batch = batch
        return None

    def _proof(self, batch: Batch) -> Reading:
        meter = self._meter()
        if batch.unit == "V":
            self._touch(batch.partner, batch.contact)
            return self._operator.take(meter.volts, "V", lifted_passes=False)
        self._touch(batch.partner, batch.contact, alike=True)
        return self._leads.take_off(self._operator.take(meter.ohms, "ohm", lifted_passes=False), meter)

    # --- readings ---------------------------------------------------------------------------------------------

    def _ohms_now(self, *, four_wire: bool) -> Reading:
        """Ohms where the leads are, without the leads."""
        meter = self._meter()
        if four_wire:
            return self._take(meter.kelvin_ohms, "ohm")
        return self._leads.take_off(self._take(meter.ohms, "ohm"), meter)

    def _ohms_after_volts(self, state: BenchState, *, four_wire: bool) -> Reading:
        """Ohms; the first of a bench state after the volts at the same contacts, where the meter does both by itself."""
        meter = self._meter()
        if state == self._volts_read_in or not getattr(meter, "by_itself", False):
            return self._ohms_now(four_wire=four_wire)
        red, black = self._touching
        # hands that are read hands-free touch once these ohms have settled; what counts is read after the volts
        before = self._ohms_now(four_wire=four_wire) if self._operator.waits else None
        volts = meter.volts()
        if not self._is_near_zero(volts):
            self._on_power_off(red, black, volts, False)
            return Reading.none(self._too_live(volts, red, black), "ohm")
        reading = self._ohms_now(four_wire=four_wire)
        if before is not None and before.state is not reading.state:
            why = f"{before.text} before the volts were read, {reading.text} after it: hold the probes on"
            return Reading.none(why, "ohm")
        self._volts_read_in = state
        how = {key: before.detail[key] for key in ("taken", "charged") if key in before.detail} if before else {}
        return replace(reading, detail={**reading.detail, **how, "volts_before": volts.value})

    def _take(self, read: Callable[[], Reading], unit: str) -> Reading:
        """A reading at the leads' contacts. Where it is open by somebody's word alone, the profile says whether that counts."""
        band = self.step.band if self.step is not None else None
        lifted_passes = passes_lifted(band, unit, self._limits.near_zero_v)
        reading = self._operator.take(read, unit, lifted_passes=lifted_passes)
        if reading.detail.get("contact") != BY_WORD:
            return reading
        batch = self._fixed.batch
        if batch is not None and self.step is not None:
            batch.steps[self.step.id] = None
            return replace(reading, detail={**reading.detail, "contact": PROVED})
        if not self._limits.contact_by_word:
            return replace(reading, detail={**reading.detail, "contact_counts": False})
        return reading

    def _touch(self, red: str, black: str, *, alike: bool = False, four_wire: bool = False) -> None:
        """Have the leads put down; where they are alike, so that a lead that is on one of the contacts stays there."""
        self._touching = put_down(self._touching, red, black, alike=alike)
        if four_wire:
            self._operator.touch(*self._touching, four_wire=True)
        else:
            self._operator.touch(*self._touching)

    def _read_near_zero(self, red: str, black: str) -> str:
        # about nothing is also what lifted probes read
        volts = self._operator.take(self._meter().volts, "V", lifted_passes=True)
        near_zero = self._is_near_zero(volts)
        self._on_power_off(red, black, volts, near_zero)
        return "" if near_zero else self._too_live(volts, red, black)

    def _is_near_zero(self, volts: Reading) -> bool:
        limit_v = self._limits.near_zero_v
        return volts.state is ReadingState.VALUE and abs(volts.value) + volts.uncertainty <= limit_v

    def _too_live(self, volts: Reading, red: str, black: str) -> str:
        return f"{volts.text} between {red} and {black}: no ohms before it is within {self._limits.near_zero_v:g} V"


def _unit(request: Request) -> str:
    return {Quantity.OHMS: "ohm", Quantity.VOLTS: "V"}.get(request.quantity, "")


def other_way(reading: Reading, swapped: Reading) -> Reading:
    """Ohms read both ways round, as one reading: none where they differ by more than their uncertainty.

    Wire reads alike either way; what does not has a junction or a voltage in it.
    """
    if swapped.state is ReadingState.NONE:
        return swapped
    if reading.state is ReadingState.VALUE and swapped.state is ReadingState.VALUE:
        alike = abs(reading.value - swapped.value) <= reading.uncertainty + swapped.uncertainty
    else:
        alike = reading.state is swapped.state
    detail = {**reading.detail, "other_way": swapped.text}
    if alike:
        return replace(reading, detail=detail)
    why = f"{reading.text} one way and {swapped.text} the other: a unit is still connected"
    return replace(reading, state=ReadingState.NONE, value=math.nan, detail={**detail, "why": why})
