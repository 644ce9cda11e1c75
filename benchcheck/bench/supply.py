"""The bench supply: volts, current limit, on and off, and off again whatever happens.

The output is switched off when the supply is closed, and when the program ends in any way in which Python
still runs: an error, Ctrl-C, the normal end. If the tool is killed outright, or the machine stops, the
output stays as it is unless the supply has a watchdog of its own: nobody is left to tell it.
"""

from __future__ import annotations

import atexit
import math

from benchcheck.bench.meter import ask_number
from benchcheck.bench.scpi import Instrument, NoAnswerError
from benchcheck.bench.scpi_words import parse_switch
from benchcheck.words.errors import LinkLost, SetupError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading

IF_KILLED = "If this tool is killed outright the supply stays on: keep a hand near its switch."
_BY_HAND = "Switch it off by hand now."


class Supply:
    """A supply that answers VOLT, CURR, OUTP, MEAS:VOLT?, MEAS:CURR?.

    `off_at_the_end`: False for whoever only asks who it is, and leaves its output as it was.
    """

    def __init__(self, instrument: Instrument, spec: MeterSpec, *, off_at_the_end: bool = True) -> None:
        self._instrument = instrument
        self._spec = spec
        self._closed = False
        self._off_at_the_end = off_at_the_end
        atexit.register(self._off_at_exit)

    @property
    def identity(self) -> str:
        return self._instrument.identity

    def set(self, volts: float, limit_a: float) -> None:
        """Set volts and current limit, both at least 0. SetupError when the supply refuses."""
        if not (math.isfinite(volts) and math.isfinite(limit_a) and volts >= 0 and limit_a >= 0):
            raise SetupError(f"{volts} V with a limit of {limit_a} A can't be set", where=self._instrument.where)
        # the limit first: the volts must never stand there with an old, higher limit
        self._command(f"CURR {limit_a:.4f}")
        self._command(f"VOLT {volts:.4f}")

    def on(self) -> None:
        """Output on, confirmed by the supply."""
        self._command("OUTP ON")
        if not self.output_on:
            raise SetupError("did not switch on", where=self._instrument.where, hint="Look at its front panel.")

    def off(self) -> None:
        """Output off, confirmed by the supply; SetupError in plain words when it was not."""
        try:
            self._command("OUTP OFF")
            still_on = self.output_on
        except SetupError as error:
            raise type(error)(f"may still be ON: {error.text}", where=self._instrument.where, hint=_BY_HAND) from None
        if still_on:
            raise SetupError("is still ON", where=self._instrument.where, hint=_BY_HAND)

    @property
    def output_on(self) -> bool:
        """Whether the output is on, as the supply says. SetupError when it doesn't say."""
        try:
            answer = self._instrument.query("OUTP?")
        except NoAnswerError as silent:
            raise SetupError(f"does not say whether it is on ({silent})", where=self._instrument.where) from None
        state = parse_switch(answer)
        if state is None:
            raise SetupError(
                f"says '{answer[:40]}' when asked whether it is on",
                where=self._instrument.where,
                hint="Is this the supply, and not another instrument?",
            )
        return state

    def amps(self) -> Reading:
        """What the supply delivers, in amperes, by its own ammeter."""
        return ask_number(self._instrument, "MEAS:CURR?", "A", {}, self._spec.amp_uncertainty)

    def volts(self) -> Reading:
        """Volts at the supply's terminals, by its own voltmeter."""
        return ask_number(self._instrument, "MEAS:VOLT?", "V", {}, self._spec.volt_uncertainty)

    def close(self) -> None:
        """Output off, then the port. SetupError when it is not known to be off; the port is closed all the same."""
        if self._closed:
            return
        self._closed = True
        atexit.unregister(self._off_at_exit)
        try:
            if self._off_at_the_end:
                self.off()
        finally:
            self._instrument.close()

    def _command(self, command: str) -> None:
        try:
            self._instrument.write(command)
            refused = self._instrument.errors()
        except NoAnswerError as silent:
            raise SetupError(f"does not answer to {command} ({silent})", where=self._instrument.where) from None
        if refused:
            raise SetupError(
                f"refused {command}: " + "; ".join(f"{entry.code} {entry.text}" for entry in refused[:3]),
                where=self._instrument.where,
                hint="Is the value within what this supply can give?",
            )

    def _off_at_exit(self) -> None:
        """The last chance; there is nobody left to catch an error, so it is said on stderr."""
        import sys

        try:
            self.close()
        except (SetupError, LinkLost) as error:
            print(f"benchcheck: {error}", file=sys.stderr)
