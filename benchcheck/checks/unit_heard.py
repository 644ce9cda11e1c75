"""Unit heard: is each unit of the bus there, in time, and all the time?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind, no_reading
from benchcheck.harness.model import Bus
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome, Verdict


@check_kind
class UnitHeard(CheckKind):
    name = "unit_heard"
    stage = Stage.LIVE
    rank = 140
    title = "Each unit heard on CAN"
    reasons = {
        "missing": "is it powered, is it in, do its two bus wires reach the bus?",
        "late": "it began to talk later after power-on than it may",
        "lost": "it fell silent while others went on",
        "intermittent": "it falls silent and comes back: a loose contact, or a unit that restarts",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        state = units_in(harness, plug_order(harness))
        for bus in harness.buses:
            for unit in bus.nodes:
                if unit in harness.units:
                    boot_s = harness.units[unit].type.boot_s
                    yield Step(
                        id=f"unit_heard:{bus.name}:{unit}",
                        check=self.name,
                        stage=self.stage,
                        quantity=Quantity.CAN,
                        state=state,
                        question=f"is {unit} heard on {bus.name} within {boot_s:g} s of power-on, and without a break?",
                        subject=(unit, bus.name),
                        note=_note(bus, unit, boot_s),
                        settings={"bus": bus.name, "unit": unit},
                    )

    def measure(self, step: Step) -> Measuring:
        reading = yield Request(Quantity.CAN, step.state, source=str(step.settings["bus"]))
        return Judged(*self._of_unit(step, reading))

    def _of_unit(self, step: Step, reading: Reading) -> tuple[Reading, Verdict]:
        if reading.state is ReadingState.NONE:
            return reading, no_reading(reading)
        units = reading.detail.get("units")
        found = units.get(step.settings["unit"]) if isinstance(units, Mapping) else None
        if not isinstance(found, Mapping):
            return reading, Verdict(Outcome.UNSURE, "no_message_known", "the profile knows no message of this unit")
        own = Reading(reading.state, reading.unit, instrument=reading.instrument, detail=dict(found))
        outcome, state = Outcome(str(found["verdict"])), str(found["state"])
        text = str(found["text"])
        if outcome is Outcome.FAIL and state == "missing":
            text = f"{text}; {self.reasons['missing']}"
        return own, Verdict(outcome, state, text)


def _note(bus: Bus, unit: str, boot_s: float) -> str:
    sources = [source for source in bus.sources if source.unit == unit]
    instead = any(source.instead for source in sources)
    sent = [] if instead else [message for message in bus.messages if message.sender == unit]
    told = [f"{len(sent)} messages by the database"] if sent or not sources else []
    told += [f"by {source.text} (profile)" for source in sources]
    if not sent and not sources:
        return "no message of this unit is in the profile's database, so it can't be told"
    alone = (
        ""
        if len(bus.nodes) > 1
        else "; it is alone on this bus: nobody but this bench can acknowledge it, run with --acknowledge"
    )
    return f"{'; '.join(told)}; first within {boot_s:g} s by the unit file{alone}"
