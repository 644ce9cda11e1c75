"""Bus load: how full is the bus, counted in the frames' own bits?"""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind, no_reading
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band


@check_kind
class BusLoad(CheckKind):
    name = "bus_load"
    stage = Stage.LIVE
    rank = 150
    title = "Load of each bus"
    reasons = {"overloaded": "the bus is fuller than the profile allows: a unit that repeats itself, or one too many"}

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        for bus in harness.buses:
            yield Step(
                id=f"bus_load:{bus.name}",
                check=self.name,
                stage=self.stage,
                quantity=Quantity.CAN,
                state=units_in(harness, plug_order(harness)),
                question=f"is the peak load of {bus.name} within its limit?",
                subject=(bus.name,),
                band=Band(None, bus.max_load_percent, "%", "profile: max_load_percent"),
                settings={"bus": bus.name},
            )

    def measure(self, step: Step) -> Measuring:
        heard = yield Request(Quantity.CAN, step.state, source=str(step.settings["bus"]))
        if heard.state is ReadingState.NONE:
            return Judged(heard, no_reading(heard))
        peak = heard.detail.get("load_peak_percent")
        dropped = heard.detail.get("dropped_frames", 0)
        detail = {
            key: heard.detail.get(key)
            for key in ("load_mean_percent", "load_peak_percent", "frames", "load_by_second_percent")
        }
        gaps = heard.detail.get("recorder_gaps")
        if not isinstance(peak, (int, float)) or dropped or gaps:
            why = f"{dropped} frames were dropped" if dropped else "no whole second was heard"
            if gaps and not dropped and isinstance(peak, (int, float)):
                why = "for a time not everything was recorded, and the bus may have been fuller then"
            if heard.detail.get("wire_bits_at_data_bitrate") and not heard.detail.get("data_bitrate") and not dropped:
                why = "its frames switch to a second bit rate, which the profile does not give: data_bitrate"
            none = Reading(ReadingState.NONE, "%", instrument=heard.instrument, detail={**detail, "why": why})
            return Judged(none, no_reading(none))
        reading = Reading(ReadingState.VALUE, "%", float(peak), 0.0, instrument=heard.instrument, detail=detail)
        return Judged(reading, self.judge(step, reading))
