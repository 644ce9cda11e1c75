"""The bench supply: volts, current limit, on and off, and off again whatever happens.

The output is switched off when the supply is closed, and when the program ends in any way in which Python still runs: an
error, Ctrl-C, the normal end. If the tool is killed outright a second process does it (`guardian.py`), and a supply with a
watchdog of its own is fed by the tool for as long as it lives (`watchdog.py`).

What is plugged for the first time is powered in steps: volts go up while the current is watched, and where it stays at
its limit the output goes off. A supply that has switched itself off meanwhile is found out, and never taken for a
dead circuit.
"""

from __future__ import annotations

import atexit
import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

from benchcheck.bench.instruments.guardian import Guardian
from benchcheck.bench.instruments.meter import ask_number
from benchcheck.bench.instruments.scpi import Instrument, NoAnswerError
from benchcheck.bench.instruments.scpi_words import Meaning, parse_number, parse_switch
from benchcheck.bench.instruments.watchdog import Watchdog
from benchcheck.words.errors import LinkLost, OverCurrent, SetupError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState

IF_KILLED = (
    "If this tool is killed outright, a second process switches the supply off. If the computer stops or the supply's cable "
    "is out, the supply stays on, unless it has a watchdog of its own: keep a hand near its switch."
)
_BY_HAND = "Switch it off by hand now."
# Volts go up in so many steps; at each the current may stay at its limit for so many readings and so long, while what is
# plugged charges up (common practice, no source).
RAMP_STEPS = 5
CHARGING_READINGS, CHARGING_S = 5, 0.5
AT_LIMIT = 0.97  # of the current limit: the supply holds back
HELD_DOWN = 0.95  # of the volts that were set
FIRST_READINGS = 5  # of the current, once the output is on: the highest is what is said of the inrush
MOST_READINGS = 8  # until two in a row agree
# Readings back of what was set may be off by this much (common practice, no source).
SET_PERCENT, SET_FLOOR = 1.0, 0.02


@dataclass(frozen=True, slots=True)
class SwitchedOn:
    """How the output came on. peak_a: the highest of `readings` in the first `within_s`; a shorter peak is not seen."""

    peak_a: float
    readings: int
    within_s: float
    ramped: bool

    def to_json(self) -> dict[str, object]:
        return {
            "peak_a": self.peak_a,
            "peak_of": self.readings,
            "peak_within_s": round(self.within_s, 3),
            "ramped": self.ramped,
        }


class Supply:
    """A supply that answers VOLT, CURR, OUTP, MEAS:VOLT?, MEAS:CURR?; VOLT? and CURR? where it can say what it is set to.

    off_at_the_end  False for whoever only asks who it is, and leaves its output as it was
    guardian        the second process; none where nothing is switched on
    watchdog        feeds the supply's own watchdog; none where it has none
    """

    def __init__(
        self,
        instrument: Instrument,
        spec: MeterSpec,
        *,
        off_at_the_end: bool = True,
        guardian: Guardian | None = None,
        watchdog: Watchdog | None = None,
    ) -> None:
        self._instrument = instrument
        self._spec = spec
        self._closed = False
        self._off_at_the_end = off_at_the_end
        self._guardian = guardian
        self._watchdog = watchdog
        self._volts = self._limit_a = 0.0
        self._is_on = False  # by our command, and not off since
        self.switched_on: SwitchedOn | None = None
        self.read_back = True  # whether it says what it is set to
        atexit.register(self._off_at_exit)

    @property
    def identity(self) -> str:
        return self._instrument.identity

    def set(self, volts: float, limit_a: float) -> None:
        """Set volts and current limit, both at least 0. SetupError when the supply refuses, or says another value."""
        if not (math.isfinite(volts) and math.isfinite(limit_a) and volts >= 0 and limit_a >= 0):
            raise SetupError(f"{volts} V with a limit of {limit_a} A can't be set", where=self._instrument.where)
        # the limit first: the volts must never stand there with an old, higher limit
        self._command(f"CURR {limit_a:.4f}")
        self._check_set("CURR?", limit_a, "A")
        self._command(f"VOLT {volts:.4f}")
        self._check_set("VOLT?", volts, "V")
        self._volts, self._limit_a = volts, limit_a

    def on(self, *, ramp: bool = False) -> None:
        """Output on, confirmed by the supply. OverCurrent, with the output off, where the current stays at its limit."""
        began_s = time.monotonic()
        seen: list[float] = []
        steps = [self._volts * number / RAMP_STEPS for number in range(1, RAMP_STEPS + 1)] if ramp else [self._volts]
        try:
            if ramp:
                self._command("VOLT 0.0000")
            if self._guardian is not None:
                self._guardian.on()
            if self._watchdog is not None:
                self._watchdog.start()
            self._is_on = True
            self._command("OUTP ON")
            if not self.output_on:
                raise SetupError("did not switch on", where=self._instrument.where, hint="Look at its front panel.")
            for volts in steps:
                if ramp:
                    self._command(f"VOLT {volts:.4f}")
                self._watch(volts, seen)
            while len(seen) < FIRST_READINGS:
                seen.append(self._ammeter())
            self._still_on()
        except BaseException:
            self._off_after_trouble()
            raise
        self.switched_on = SwitchedOn(max(seen), len(seen), time.monotonic() - began_s, ramp)

    def off(self) -> None:
        """Output off, confirmed by the supply; SetupError in plain words when it was not."""
        self._is_on = False
        try:
            self._command("OUTP OFF")
            still_on = self.output_on
        except SetupError as error:
            raise type(error)(f"may still be ON: {error.text}", where=self._instrument.where, hint=_BY_HAND) from None
        if still_on:
            raise SetupError("is still ON", where=self._instrument.where, hint=_BY_HAND)
        if self._watchdog is not None:
            self._watchdog.stop()
        if self._guardian is not None:
            self._guardian.off()

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

    def cut_off(self) -> str:
        """In words that the supply has switched itself off, or holds its volts down at its limit; empty where neither."""
        if not self._is_on:
            return ""
        try:
            self._still_on()
        except OverCurrent as cut:
            return cut.text
        amps = ask_number(self._instrument, "MEAS:CURR?", "A", {}, self._spec.amp_uncertainty)
        if amps.state is ReadingState.VALUE and self._is_held(amps.value, self._volts):
            return f"holds its volts down at its limit of {self._limit_a:.3g} A"
        return ""

    def amps(self) -> Reading:
        """What the supply delivers once it is steady, in amperes, by its own ammeter.

        OVER, above the limit that was set, where it has cut off or holds back; the detail says why. What goes on moving
        is the mean, and its uncertainty reaches from the lowest to the highest.
        """
        seen: list[Reading] = []
        while len(seen) < MOST_READINGS:
            seen.append(ask_number(self._instrument, "MEAS:CURR?", "A", {}, self._spec.amp_uncertainty))
            if seen[-1].state is not ReadingState.VALUE:
                return seen[-1]
            if len(seen) > 1 and abs(seen[-1].value - seen[-2].value) <= seen[-1].uncertainty:
                break
        try:
            cut = self.cut_off()
        except LinkLost:
            raise
        except SetupError as unknown:
            return Reading(ReadingState.NONE, "A", instrument=self.identity, detail={"why": unknown.text})
        if cut:
            return Reading(
                ReadingState.OVER, "A", over_above=self._limit_a, instrument=self.identity, detail={"why": cut}
            )
        return self._steady(seen)

    def volts(self) -> Reading:
        """Volts at the supply's terminals, by its own voltmeter."""
        return ask_number(self._instrument, "MEAS:VOLT?", "V", {}, self._spec.volt_uncertainty)

    def close(self) -> None:
        """Output off, then the port. SetupError when it is not known to be off; the port is closed all the same, and the
        second process tries once more."""
        if self._closed:
            return
        self._closed = True
        atexit.unregister(self._off_at_exit)
        try:
            if self._off_at_the_end:
                self.off()
        finally:
            if self._watchdog is not None:
                self._watchdog.stop(quietly=True)
            self._instrument.close()
            if self._guardian is not None:
                self._guardian.end()

    # --- inside -----------------------------------------------------------------------------------------------

    def _steady(self, seen: Sequence[Reading]) -> Reading:
        last = seen[-1]
        detail = self.switched_on.to_json() if self.switched_on is not None else {}
        if len(seen) < MOST_READINGS or abs(last.value - seen[-2].value) <= last.uncertainty:
            return replace(last, detail=detail)
        values = [reading.value for reading in seen]
        middle = (max(values) + min(values)) / 2
        uncertainty = (max(values) - min(values)) / 2 + self._spec.amp_uncertainty(middle)
        return replace(last, value=middle, uncertainty=uncertainty, detail={**detail, "moving": True})

    def _ammeter(self) -> float:
        reading = ask_number(self._instrument, "MEAS:CURR?", "A", {}, self._spec.amp_uncertainty)
        if reading.state is not ReadingState.VALUE:
            why = reading.detail.get("why", "over its range")
            raise SetupError(f"its current can't be watched: {why}", where=self._instrument.where)
        return reading.value

    def _watch(self, volts: float, seen: list[float]) -> None:
        """Readings of the current until the supply no longer holds back. OverCurrent where it goes on."""
        deadline = time.monotonic() + CHARGING_S
        readings = 0
        while True:
            seen.append(self._ammeter())
            readings += 1
            if not self._is_held(seen[-1], volts):
                return
            if readings >= CHARGING_READINGS and time.monotonic() >= deadline:
                raise self._over_current(f"stays at its limit of {self._limit_a:.3g} A, set to {volts:.3g} V")

    def _is_held(self, amps: float, volts: float) -> bool:
        if amps < AT_LIMIT * self._limit_a:
            return False
        terminals = self.volts()
        return terminals.state is not ReadingState.VALUE or terminals.value < HELD_DOWN * volts

    def _still_on(self) -> None:
        if not self.output_on:
            self._is_on = False
            raise self._over_current(f"has switched itself off; its limit is {self._limit_a:.3g} A")

    def _over_current(self, text: str) -> OverCurrent:
        return OverCurrent(
            text, where=self._instrument.where, hint="Look for what draws it, before it is powered again.",
            limit_a=self._limit_a,
        )  # fmt: skip

    def _off_after_trouble(self) -> None:
        try:
            self.off()
        except SetupError as error:
            raise error from None

    def _check_set(self, query: str, wanted: float, unit: str) -> None:
        """What the supply says that it is set to, where it says so. SetupError where it is something else."""
        answer = self._instrument.query_if_known(query) if self.read_back else None
        if answer is None:
            self.read_back = False
            return
        said = parse_number(answer)
        if said.meaning is not Meaning.NUMBER or abs(said.value - wanted) > wanted * SET_PERCENT / 100 + SET_FLOOR:
            raise SetupError(
                f"was set to {wanted:g} {unit} and says '{answer[:40]}'",
                where=self._instrument.where,
                hint="Is the value within what this supply can give, and its front panel not locked?",
            )

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
