"""The multimeter: ohms and DC volts, as readings that say how sure they are."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

from benchcheck.bench.instruments.scpi import Instrument, NoAnswerError
from benchcheck.bench.instruments.scpi_words import Answer, Meaning, parse_number, parse_switch
from benchcheck.words.errors import SetupError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState


class Meter(Protocol):
    """What a meter is to the rest of the program, whatever it hangs on.

    `ohms` is with two wires and as the meter shows it, leads included; whoever asks takes the leads off. `kelvin_ohms`
    is with four wires, and only asked of a meter whose spec says `four_wire`. One that has `by_itself` changes between
    ohms and volts without anybody's help.
    """

    @property
    def identity(self) -> str: ...
    @property
    def spec(self) -> MeterSpec: ...
    def ohms(self) -> Reading: ...
    def kelvin_ohms(self) -> Reading: ...
    def volts(self) -> Reading: ...
    def close(self) -> None: ...


# What SENS:FUNC? may answer after each query, in its short and long forms (SCPI-1999; from memory).
_FUNCTIONS = {
    "MEAS:RES?": ("RES", "RESISTANCE"),
    "MEAS:FRES?": ("FRES", "FRESISTANCE"),
    "MEAS:VOLT:DC?": ("VOLT", "VOLT:DC", "VOLTAGE", "VOLTAGE:DC"),
}


class ScpiMeter:
    """A meter that answers MEAS:RES? and MEAS:VOLT:DC?, and MEAS:FRES? where it reads with four wires.

    A time-out, garbage or not-a-number is a reading without value that says why; LinkLost when the meter is gone.
    """

    by_itself = True

    def __init__(self, instrument: Instrument, spec: MeterSpec) -> None:
        self._instrument = instrument
        self.spec = spec
        self._says_function = False  # whether it answers which function it is set to
        self._checked: set[str] = set()  # functions that it was found set to
        self.settings = "not read back"  # its own null and range, in words

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

    def read_back(self) -> str:
        """Its own null, range and function, as far as it says them; a null that is on is switched off. In words.

        The lead zero is this tool's, so a null beside it would be taken off twice. SetupError where it stays on. The function
        is proved with volts, which do no harm wherever the leads are.
        """
        functions = ["RES", "VOLT:DC", *(["FRES"] if self.spec.four_wire else [])]
        said = [f"null {self._null_off(functions)}", f"range {self._range(functions)}"]
        if not self._says_function:
            self._says_function = self._instrument.query_if_known("SENS:FUNC?") is not None
        said.append("function read back" if self._says_function else "function not read back")
        self.settings = ", ".join(said)
        return self.settings

    def _null_off(self, functions: list[str]) -> str:
        switched: list[str] = []
        for number, function in enumerate(functions):
            state = self._switch(f"SENS:{function}:NULL?")
            if state is None and number == 0:
                return "not read back"
            if not state:
                continue
            self._try(f"SENS:{function}:NULL OFF")
            if self._switch(f"SENS:{function}:NULL?") is not False:
                raise SetupError(
                    f"its own null (relative mode) is on for {function}, and stays on",
                    where=self._instrument.where,
                    hint="Switch it off at its front panel: this tool takes the leads off itself.",
                )
            switched.append(function)
        return f"was on for {', '.join(switched)} and was switched off" if switched else "off"

    def _range(self, functions: list[str]) -> str:
        fixed: list[str] = []
        for number, function in enumerate(functions):
            state = self._switch(f"SENS:{function}:RANG:AUTO?")
            if state is None and number == 0:
                return "not read back"
            if state is False:
                self._try(f"SENS:{function}:RANG:AUTO ON")
                if self._switch(f"SENS:{function}:RANG:AUTO?") is not True:
                    fixed.append(function)
        return f"fixed for {', '.join(fixed)}: what is beyond it reads over range" if fixed else "auto"

    def _switch(self, query: str) -> bool | None:
        answer = self._instrument.query_if_known(query)
        return None if answer is None else parse_switch(answer)

    def _try(self, command: str) -> None:
        """A command that may be refused; what came of it is asked afterwards."""
        try:
            self._instrument.write(command)
            self._instrument.errors()
        except NoAnswerError:
            return

    def _other_function(self, function: str) -> str:
        """The function that the meter says it read with, where that is another one; asked once for each."""
        if not self._says_function or function in self._checked:
            return ""
        answer = self._instrument.query_if_known("SENS:FUNC?")
        said = (answer or "").strip('"').upper()
        if said and said not in _FUNCTIONS[function]:
            return said[:40]
        self._checked.add(function)
        return ""

    def _ask(
        self,
        query: str,
        unit: str,
        detail: dict[str, object],
        uncertainty: Callable[[float], float],
        over_above: float = math.nan,
    ) -> Reading:
        reading = ask_number(self._instrument, query, unit, detail, uncertainty, over_above)
        if reading.state is not ReadingState.NONE and (other := self._other_function(query)):
            return self._none(unit, detail, f"the meter says that it read {other}, and was asked {query}")
        return reading

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
