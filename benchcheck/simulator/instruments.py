"""The simulated meter and supply: SCPI on one side, the model of the bench on the other."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.scpi import OVERLOAD, ScpiError, ScpiInstrument, number_text, parameter
from benchcheck.words.errors import InputError

METER_IDENTITY = "BENCHCHECK-SIM,METER,0001,1.0"
SUPPLY_IDENTITY = "BENCHCHECK-SIM,SUPPLY,0002,1.0"
SUPPLY_MAX_V, SUPPLY_MAX_A = 60.0, 20.0


class Meter(ScpiInstrument):
    """A multimeter whose leads touch `probes` (red, black); lifted off, it reads open and no volts."""

    def __init__(self, model: BenchModel) -> None:
        super().__init__(
            METER_IDENTITY,
            {
                "MEAS:RES?": self._ohms,
                "MEAS:FRES?": self._kelvin_ohms,
                "MEAS:VOLT:DC?": self._volts,
                "MEAS:VOLT?": self._volts,
            },
        )
        self._model = model
        self.probes: tuple[str, str] | None = None

    def _ohms(self, _: list[str]) -> str:
        value = self._ask(self._model.ohms, math.inf)
        return number_text(value if math.isfinite(value) else OVERLOAD)

    def _kelvin_ohms(self, _: list[str]) -> str:
        value = self._ask(self._model.kelvin_ohms, math.inf)
        return number_text(value if math.isfinite(value) else OVERLOAD)

    def _volts(self, _: list[str]) -> str:
        return number_text(self._ask(self._model.volts, 0.0))

    def _ask(self, read: Callable[[str, str], float], lifted: float) -> float:
        if self.probes is None:
            return lifted
        try:
            return read(*self.probes)
        except InputError:  # the bench was changed under the probes: they touch nothing now
            return lifted


class BenchSupply(ScpiInstrument):
    """A supply with a current limit; `clock` gives the time at which a change counts."""

    def __init__(self, model: BenchModel, clock: Callable[[], float]) -> None:
        super().__init__(
            SUPPLY_IDENTITY,
            {
                "VOLT": self._set_volts,
                "VOLT?": lambda _: number_text(self._model.supply.volts),
                "CURR": self._set_amps,
                "CURR?": lambda _: number_text(self._model.supply.limit_a),
                "OUTP": self._set_output,
                "OUTP?": lambda _: str(int(self._model.supply.on)),
                "MEAS:VOLT?": lambda _: number_text(self._model.supply_volts()),
                "MEAS:VOLT:DC?": lambda _: number_text(self._model.supply_volts()),
                "MEAS:CURR?": lambda _: number_text(self._model.supply_amps()),
                "MEAS:CURR:DC?": lambda _: number_text(self._model.supply_amps()),
            },
            self._off,
        )
        self._model = model
        self._clock = clock

    def _set(self, **changes: float) -> None:
        wanted = replace(self._model.supply, **changes)  # type: ignore[arg-type]
        self._model.set_supply(wanted.volts, wanted.limit_a, wanted.on, self._clock())

    def _set_volts(self, parameters: list[str]) -> None:
        self._set(volts=parameter(parameters, 0.0, SUPPLY_MAX_V))

    def _set_amps(self, parameters: list[str]) -> None:
        self._set(limit_a=parameter(parameters, 0.0, SUPPLY_MAX_A))

    def _set_output(self, parameters: list[str]) -> None:
        if not parameters:
            raise ScpiError(-109)
        word = parameters[0].upper()
        if word not in ("ON", "OFF", "1", "0"):
            raise ScpiError(-102)
        self._set(on=word in ("ON", "1"))

    def _off(self) -> None:
        self._set(volts=0.0, on=False)
