"""Bus strangers: are there identifiers on the bus that no unit of the profile sends?"""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind, heard_nothing, no_reading
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome, Verdict


@check_kind
class BusStrangers(CheckKind):
    name = "bus_strangers"
    stage = Stage.LIVE
    rank = 170
    title = "Identifiers that no unit of the profile sends"
    reasons = {"unexpected": "someone sends what nobody here should: a wrong unit, a wrong setting, an old database"}

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        for bus in harness.buses:
            if bus.messages:
                yield Step(
                    id=f"bus_strangers:{bus.name}",
                    check=self.name,
                    stage=self.stage,
                    quantity=Quantity.CAN,
                    state=units_in(harness, plug_order(harness)),
                    question=f"does only what the database knows talk on {bus.name}?",
                    subject=(bus.name,),
                    note="every identifier is looked up in the profile's message database",
                    settings={"bus": bus.name},
                )

    def measure(self, step: Step) -> Measuring:
        heard = yield Request(Quantity.CAN, step.state, source=str(step.settings["bus"]))
        if heard.state is ReadingState.NONE:
            return Judged(heard, no_reading(heard))
        strangers = heard.detail.get("strangers")
        names = [str(name) for name in strangers] if isinstance(strangers, (list, tuple)) else []
        nothing = heard_nothing(heard)
        if nothing is not None and not names:
            return Judged(nothing, no_reading(nothing))
        reading = Reading(
            ReadingState.VALUE,
            "identifiers",
            float(len(names)),
            instrument=heard.instrument,
            detail={"identifiers": names},
        )
        if names:
            return Judged(
                reading, Verdict(Outcome.FAIL, "unexpected", f"{', '.join(names)}: {self.reasons['unexpected']}")
            )
        return Judged(reading, Verdict(Outcome.PASS, "known", "every identifier is known"))
