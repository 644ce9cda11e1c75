"""The multimeter: ohms and DC volts, as readings that say how sure they are."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable
from typing import Protocol

from benchcheck.bench.clock import Clock
from benchcheck.bench.scpi import Instrument, NoAnswerError
from benchcheck.bench.scpi_words import Answer, Meaning, parse_number
from benchcheck.words.errors import SetupError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState

_ZERO_READINGS = 5
_LEADS_AT_MOST_OHM = 2.0  # ordinary leads have 0.1 to 0.5 ohm: common practice, no source


class Meter(Protocol):
    """What a meter is to the rest of the program, whatever it hangs on."""

    @property
    def identity(self) -> str: ...
    @property
    def spec(self) -> MeterSpec: ...
    def ohms(self) -> Reading: ...
    def volts(self) -> Reading: ...
    def close(self) -> None: ...


class ScpiMeter:
    """A meter that answers MEAS:RES? and MEAS:VOLT:DC?.

    Ohms come without the leads: the tool takes `lead_ohm` off, which is the spec's until `zero_leads` has
    measured it. A time-out, garbage or not-a-number is a reading without value that says why; LinkLost when
    the meter is gone.
    """

    def __init__(self, instrument: Instrument, spec: MeterSpec, clock: Clock | None = None) -> None:
        self._instrument = instrument
        self._clock = clock or Clock()
        self.spec = spec
        self.lead_ohm = spec.lead_ohm
        self.zeroed_at_ns: int | None = None  # monotonic; None: the spec's figure is in use

    @property
    def identity(self) -> str:
        return self._instrument.identity

    def ohms(self) -> Reading:
        """Resistance between the leads, in ohms, leads taken off. OVER is open, or above the meter's range."""
        detail: dict[str, object] = {
            "range_ohm": self.spec.ohm_max,
            "test_volts": self.spec.ohm_test_volts,
            "lead_ohm": self.lead_ohm,
        }
        reading = self._ask("MEAS:RES?", "ohm", detail, self.spec.ohm_uncertainty, self.lead_ohm, self.spec.ohm_max)
        below_nothing = -(self.spec.ohm_floor + self.spec.lead_scatter_ohm + self.lead_ohm)
        if reading.state is ReadingState.VALUE and reading.value < below_nothing:
            return self._none("ohm", detail, f"{reading.value:g} ohm is less than nothing: voltage on the circuit?")
        return reading

    def volts(self) -> Reading:
        """DC volts, red lead against black."""
        return self._ask("MEAS:VOLT:DC?", "V", {}, self.spec.volt_uncertainty)

    def zero_leads(self) -> Reading:
        """Measure the leads, held together by the user, and take that off from now on.

        The reading is the leads' own resistance. SetupError, and nothing changed, when they were not together.
        """
        raw = [self._ask("MEAS:RES?", "ohm", {}, self.spec.ohm_uncertainty) for _ in range(_ZERO_READINGS)]
        values = [reading.value for reading in raw if reading.state is ReadingState.VALUE]
        lead_ohm = statistics.median(values) if len(values) == _ZERO_READINGS else math.nan
        if not 0 <= lead_ohm <= _LEADS_AT_MOST_OHM or max(values) - min(values) > 2 * self.spec.lead_scatter_ohm:
            raise SetupError(
                "the leads were not held together: read " + ", ".join(reading.text for reading in raw),
                where=self._instrument.where,
                hint=f"Press the two tips together and try again; above {_LEADS_AT_MOST_OHM:g} ohm change the leads.",
            )
        self.lead_ohm = lead_ohm
        self.zeroed_at_ns = self._clock.monotonic_ns()
        detail = {"readings_ohm": values}
        return Reading(ReadingState.VALUE, "ohm", lead_ohm, self.spec.ohm_floor, math.nan, self.identity, detail)

    def close(self) -> None:
        self._instrument.close()

    def _ask(
        self,
        query: str,
        unit: str,
        detail: dict[str, object],
        uncertainty: Callable[[float], float],
        minus: float = 0.0,
        over_above: float = math.nan,
    ) -> Reading:
        return ask_number(self._instrument, query, unit, detail, uncertainty, minus, over_above)

    def _none(self, unit: str, detail: dict[str, object], why: str) -> Reading:
        return Reading(ReadingState.NONE, unit, instrument=self.identity, detail={**detail, "why": why})


def ask_number(
    instrument: Instrument,
    query: str,
    unit: str,
    detail: dict[str, object],
    uncertainty: Callable[[float], float],
    minus: float = 0.0,
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
            value = answer.value - minus
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
