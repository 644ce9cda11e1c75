"""The leads' own resistance, measured with the two held together, and taken off every two-wire reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState

# Ordinary leads have 0.1 to 0.5 ohm; above this a lead or a plug is bad (common practice, no source).
MOST_OHM = 1.0
READINGS = 5
# Hours after which the leads are measured again: plugs wear loose, the meter warms (common practice, no source).
VALID_HOURS = 4.0


@dataclass(frozen=True, slots=True)
class LeadZero:
    """What is taken off, and how far it may be off from touch to touch.

    readings  what was read with the leads together, in ohms
    own_rel   the meter takes its leads off itself, so nothing is taken off here
    assumed   why it was not measured; empty where it was
    """

    ohm: float
    scatter_ohm: float
    readings: tuple[float, ...] = ()
    own_rel: bool = False
    assumed: str = ""

    def to_json(self) -> dict[str, object]:
        return {
            "ohm": self.ohm,
            "scatter_ohm": self.scatter_ohm,
            "readings": list(self.readings),
            "own_rel": self.own_rel,
            "assumed": self.assumed,
        }


def zero_of(readings: Sequence[Reading], spec: MeterSpec) -> LeadZero | str:
    """The lead zero from readings with the leads together; in words why it can't be one.

    Mean and scatter (the farthest from the mean); never a smaller scatter than the meter's leads are known for, since
    leads that are held together once don't show what touching again does.
    """
    if not readings:
        return "nothing was read"
    for reading in readings:
        if reading.state is ReadingState.OVER:
            return "the meter shows OL: the leads were not together, or a lead is open"
        if reading.state is not ReadingState.VALUE:
            return f"no reading of the leads: {reading.detail.get('why', 'no reading')}"
    values = [reading.value for reading in readings]
    shown = ", ".join(reading.text for reading in readings)
    mean = sum(values) / len(values)
    one_touch = spec.meter_ohm_uncertainty(mean) + spec.lead_scatter_ohm
    if mean < -one_touch:
        return f"{shown}: less than nothing; switch the meter's own relative mode off, or say rel"
    if mean > MOST_OHM:
        return f"{shown}: above {MOST_OHM:g} ohm a lead or its plug is bad, or the leads were not together"
    if max(values) - min(values) > 2 * one_touch:
        return f"{shown}: not steady; press the two together and hold them, or change the leads"
    scatter = max(abs(value - mean) for value in values)
    return LeadZero(mean, max(scatter, spec.lead_scatter_ohm), tuple(values))


def own_rel(spec: MeterSpec) -> LeadZero:
    """The zero of a meter that takes its leads off itself."""
    return LeadZero(0.0, spec.lead_scatter_ohm, own_rel=True)


def assumed_zero(spec: MeterSpec, why: str) -> LeadZero:
    """What is taken off where the leads were not measured: the usual figure, which may be off by all of itself."""
    return LeadZero(spec.lead_ohm, spec.lead_scatter_ohm + spec.lead_ohm, assumed=why)


def without_leads(raw: Reading, zero: LeadZero, spec: MeterSpec) -> Reading:
    """A two-wire reading with the leads taken off; the raw value and the zero stay in its detail.

    A value that is less than nothing by more than its uncertainty is no reading: there is a voltage on the circuit, or
    the leads have become other ones.
    """
    detail = {**raw.detail, "wires": 2, "lead_ohm": zero.ohm, "lead_scatter_ohm": zero.scatter_ohm}
    if raw.state is not ReadingState.VALUE:
        return replace(raw, detail=detail)
    value = raw.value - zero.ohm
    uncertainty = spec.meter_ohm_uncertainty(value) + max(zero.scatter_ohm, spec.lead_scatter_ohm)
    detail["raw_ohm"] = raw.value
    if value < -uncertainty:
        why = (
            f"{raw.text} less {zero.ohm:.2g} ohm of leads is less than nothing: voltage on the circuit, or other leads? "
            "Measure the leads again."
        )
        return replace(raw, state=ReadingState.NONE, value=float("nan"), detail={**detail, "why": why})
    # rounded off what subtracting leaves behind the last digit that was read
    return replace(raw, value=round(value, 9), uncertainty=uncertainty, detail=detail)
