"""Bus strangers: are there identifiers on the bus that no unit of the profile sends, or that two units send?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

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
    reasons = {
        "unexpected": "someone sends what nobody here should: a wrong unit, a wrong setting, an old database",
        "second_sender": "two units send one identifier, so their frames collide: is a unit there twice, or set as another one?",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        for bus in harness.buses:
            if bus.is_known:
                yield Step(
                    id=f"bus_strangers:{bus.name}",
                    check=self.name,
                    stage=self.stage,
                    quantity=Quantity.CAN,
                    state=units_in(harness, plug_order(harness)),
                    question=f"does only what the profile knows talk on {bus.name}, and each identifier from one unit?",
                    subject=(bus.name,),
                    note="every identifier is looked up in the profile's message database and sources",
                    settings={"bus": bus.name},
                )

    def measure(self, step: Step) -> Measuring:
        heard = yield Request(Quantity.CAN, step.state, source=str(step.settings["bus"]))
        if heard.state is ReadingState.NONE:
            return Judged(heard, no_reading(heard))
        strangers = heard.detail.get("strangers")
        names = [str(name) for name in strangers] if isinstance(strangers, (list, tuple)) else []
        unexpected = heard.detail.get("unexpected")
        entries = [entry for entry in unexpected if isinstance(entry, Mapping)] if isinstance(unexpected, list) else []
        shared = [entry for entry in entries if entry.get("owner")]
        nothing = heard_nothing(heard)
        if nothing is not None and not names and not shared:
            return Judged(nothing, no_reading(nothing))
        reading = Reading(
            ReadingState.VALUE,
            "identifiers",
            float(len(names)),
            instrument=heard.instrument,
            detail={"identifiers": names, "unexpected": entries},
        )
        return Judged(reading, self._verdict(names, shared))

    def _verdict(self, names: list[str], shared: list[Mapping[str, object]]) -> Verdict:
        """`shared`: identifiers with a second sender for certain (FAIL), or that may have one (UNSURE)."""
        certain = [entry for entry in shared if entry.get("verdict") == Outcome.FAIL.value]
        told = [f"{', '.join(names)}: {self.reasons['unexpected']}"] if names else []
        told += [str(entry["text"]) for entry in certain or shared]
        if certain:
            told.append(self.reasons["second_sender"])
        if names or certain:
            return Verdict(Outcome.FAIL, "unexpected" if names else "second_sender", "; ".join(told))
        if shared:
            return Verdict(Outcome.UNSURE, "second_sender", "; ".join(told))
        return Verdict(Outcome.PASS, "known", "every identifier is known")
