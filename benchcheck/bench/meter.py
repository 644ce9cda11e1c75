"""The multimeter: ohms and DC volts, as readings that say how sure they are."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

from benchcheck.bench.scpi import Instrument, NoAnswerError
from benchcheck.bench.scpi_words import Answer, Meaning, parse_number
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState


class Meter(Protocol):
    """What a meter is to the rest of the program, whatever it hangs on.

    `ohms` is with two wires and as the meter shows it, leads included; whoever asks takes the leads off. `kelvin_ohms`
    is with four wires, and only asked of a meter whose spec says `four_wire`.
    """

    @property
    def identity(self) -> str: ...
    @property
    def spec(self) -> MeterSpec: ...
    def ohms(self) -> Reading: ...
    def kelvin_ohms(self) -> Reading: ...
    def volts(self) -> Reading: ...
    def close(self) -> None: ...


class ScpiMeter:
    """A meter that answers MEAS:RES? and MEAS:VOLT:DC?, and MEAS:FRES? where it reads with four wires.

    A time-out, garbage or not-a-number is a reading without value that says why; LinkLost when the meter is gone.
    """

    def __init__(self, instrument: Instrument, spec: MeterSpec) -> None:
        self._instrument = instrument
        self.spec = spec

    @property
    def identity(self) -> str:
        return self._instrument.identity

    def ohms(self) -> Reading:
        """Resistance between the leads and of the leads, in ohms. OVER is open, or above the meter's range."""
        detail: dict[str, object] = {"range_ohm": self.spec.ohm_max, "test_volts": self.spec.ohm_test_volts, "wires": 2}
        reading = self._ask("MEAS:RES?", "ohm", detail, self.spec.ohm_uncertainty, self.spec.ohm_max)
        if reading.state is ReadingState.VALUE and reading.value < -self.spec.ohm_uncertainty(reading.value):
            return self._none("ohm", detail, f"{reading.value:g} ohm is less than nothing: voltage on the circuit?")
        return reading

    def kelvin_ohms(self) -> Reading:
        """Resistance between the inner of four wires, in ohms: leads and their contacts are not in it."""
        if not self.spec.four_wire:
            return self._none("ohm", {"wires": 4}, "this meter does not read with four wires")
        detail: dict[str, object] = {"wires": 4}
        ranges = self.spec.four_wire_ranges
        over = max(entry.full_scale for entry in ranges) if ranges else self.spec.ohm_max
        reading = self._ask("MEAS:FRES?", "ohm", detail, self.spec.four_wire_uncertainty, over)
        if reading.state is ReadingState.VALUE and reading.value < -reading.uncertainty:
            return self._none(
                "ohm", detail, f"{reading.value:g} ohm is less than nothing: are the wires of one end crossed?"
            )
        return reading

    def volts(self) -> Reading:
        """DC volts, red lead against black."""
        return self._ask("MEAS:VOLT:DC?", "V", {}, self.spec.volt_uncertainty)

    def close(self) -> None:
        self._instrument.close()

    def _ask(
        self,
        query: str,
        unit: str,
        detail: dict[str, object],
        uncertainty: Callable[[float], float],
        over_above: float = math.nan,
    ) -> Reading:
        return ask_number(self._instrument, query, unit, detail, uncertainty, over_above)

    def _none(self, unit: str, detail: dict[str, object], why: str) -> Reading:
        return Reading(ReadingState.NONE, unit, instrument=self.identity, detail={**detail, "why": why})


def ask_number(
    instrument: Instrument,
    query: str,
    unit: str,
    detail: dict[str, object],
    uncertainty: Callable[[float], float],
    over_above: float = math.nan,
) -> Reading:
    """One number from an instrument as a reading in `unit`.

    An overload counts only when the error queue is clean: some instruments give the same figure for a query
    that they refused. LinkLost passes through.
    """

    def without_value(why: str) -> Reading:
        return Reading(ReadingState.NONE, unit, instrument=instrument.identity, detail={**detail, "why": why})

    try:
        text = instrument.query(query)
        answer: Answer = parse_number(text)
        if answer.meaning is Meaning.NUMBER:
            value = answer.value
            return Reading(
                ReadingState.VALUE, unit, value, uncertainty(value), instrument=instrument.identity, detail=detail
            )
        if answer.meaning is Meaning.NOT_A_NUMBER:
            return without_value("the instrument says: not a number")
        refused = instrument.errors()
        if refused:
            return without_value("the instrument refused: " + "; ".join(f"{e.code} {e.text}" for e in refused[:3]))
        if answer.meaning is Meaning.GARBAGE:
            return without_value(f"no number in the answer '{text[:60]}'")
        if answer.negative and unit == "ohm":
            return without_value("overload below zero: voltage on the circuit?")
        if answer.negative:
            detail = {**detail, "negative": True}
        return Reading(ReadingState.OVER, unit, over_above=over_above, instrument=instrument.identity, detail=detail)
    except NoAnswerError as silent:
        return without_value(f"no answer: {silent}")
