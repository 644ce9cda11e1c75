"""Signal range: does a signal that the profile has limits for stay within them, and does it move?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind, no_reading
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict

_SOURCE = "profile: [[signals]]"


@check_kind
class SignalRangeCheck(CheckKind):
    name = "signal_range"
    stage = Stage.LIVE
    rank = 165
    title = "Values of the signals that the profile has limits for"
    reasons = {
        "absurd": "a value that can't be: a sensor that is open or shorted, or a database of another version",
        "stuck": "the unit sends on, but its value doesn't move: is the sensor behind it in?",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        state = units_in(harness, plug_order(harness))
        for entry in harness.signals:
            has_band = entry.low is not None or entry.high is not None
            yield Step(
                id=f"signal_range:{entry.bus}:{entry.name}",
                check=self.name,
                stage=self.stage,
                quantity=Quantity.CAN,
                state=state,
                question=f"is {entry.name} on {entry.bus} what it should be?",
                subject=(entry.message.sender, entry.bus) if entry.message.sender else (entry.bus,),
                band=Band(entry.low, entry.high, entry.signal.unit, _SOURCE) if has_band else None,
                note=f"{entry.limits_text}; by the {_SOURCE}",
                settings={"bus": entry.bus, "signal": entry.name, "unit": entry.message.sender},
            )

    def measure(self, step: Step) -> Measuring:
        heard = yield Request(Quantity.CAN, step.state, source=str(step.settings["bus"]))
        return Judged(*self._of_signal(step, heard))

    def _of_signal(self, step: Step, heard: Reading) -> tuple[Reading, Verdict]:
        if heard.state is ReadingState.NONE:
            return heard, no_reading(heard)
        signals = heard.detail.get("signals")
        found = signals.get(step.settings["signal"]) if isinstance(signals, Mapping) else None
        if not isinstance(found, Mapping):
            none = Reading.none("its signals were not listened for", heard.unit)
            return none, no_reading(none)
        outcome, state, text = Outcome(str(found["verdict"])), str(found["state"]), str(found["text"])
        worst, unit = found.get("worst"), str(found.get("unit", ""))
        if isinstance(worst, (int, float)):
            own = Reading(ReadingState.VALUE, unit, float(worst), instrument=heard.instrument, detail=dict(found))
        else:
            own = Reading(ReadingState.NONE, unit, instrument=heard.instrument, detail={**found, "why": text})
        if outcome is Outcome.FAIL:
            text = f"{text}; {self.reasons[state]}"
        return own, Verdict(outcome, state, text)
