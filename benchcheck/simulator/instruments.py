"""The simulated meter and supply: SCPI on one side, the model of the bench on the other."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.scpi import OVERLOAD, Handler, ScpiInstrument, number_text, parameter, switch
from benchcheck.words.errors import InputError

METER_IDENTITY = "BENCHCHECK-SIM,METER,0001,1.0"
SUPPLY_IDENTITY = "BENCHCHECK-SIM,SUPPLY,0002,1.0"
SUPPLY_MAX_V, SUPPLY_MAX_A = 60.0, 20.0
FUNCTIONS = ("RES", "FRES", "VOLT:DC")


class Meter(ScpiInstrument):
    """A multimeter whose leads touch `probes` (red, black); lifted off, it reads open and no volts."""

    def __init__(self, model: BenchModel) -> None:
        self.null = dict.fromkeys(FUNCTIONS, False)
        self.auto = dict.fromkeys(FUNCTIONS, True)
        super().__init__(
            METER_IDENTITY,
            {
                "MEAS:RES?": self._ohms,
                "MEAS:FRES?": self._kelvin_ohms,
                "MEAS:VOLT:DC?": self._volts,
                "MEAS:VOLT?": self._volts,
                "SENS:FUNC?": lambda _: f'"{self._function}"',
                **self._switches("NULL", self.null),
                **self._switches("RANG:AUTO", self.auto),
            },
        )
        self._model = model
        self._function = "VOLT"
        self._null_ohm = 0.0
        self.probes: tuple[str, str] | None = None

    def _switches(self, name: str, states: dict[str, bool]) -> dict[str, Handler]:
        """Command and query of a switch of each function."""

        def setter(function: str) -> Handler:
            def set_it(parameters: list[str]) -> None:
                states[function] = switch(parameters)

            return set_it

        def asker(function: str) -> Handler:
            return lambda _: str(int(states[function]))

        commands: dict[str, Handler] = {}
        for function in FUNCTIONS:
            commands[f"SENS:{function}:{name}"] = setter(function)
            commands[f"SENS:{function}:{name}?"] = asker(function)
        return commands

    def set_null(self) -> None:
        """What a press of the null key at its front panel does: what it shows now is taken off."""
        self._null_ohm = self._ask(self._model.ohms, 0.0)
        self.null["RES"] = True

    def _ohms(self, _: list[str]) -> str:
        self._function = "RES"
        value = self._ask(self._model.ohms, math.inf) - (self._null_ohm if self.null["RES"] else 0.0)
        return number_text(value if math.isfinite(value) else OVERLOAD)

    def _kelvin_ohms(self, _: list[str]) -> str:
        self._function = "FRES"
        value = self._ask(self._model.kelvin_ohms, math.inf)
        return number_text(value if math.isfinite(value) else OVERLOAD)

    def _volts(self, _: list[str]) -> str:
        self._function = "VOLT"
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
        self._set(on=switch(parameters))

    def _off(self) -> None:
        self._set(volts=0.0, on=False)
