"""Bus errors: were there error frames? An adapter that can't report them leaves this UNSURE."""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind, heard_nothing, no_reading
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict


@check_kind
class BusErrors(CheckKind):
    name = "bus_errors"
    stage = Stage.LIVE
    rank = 160
    title = "Error frames on each bus"
    reasons = {
        "errors": "error frames: a wrong bit rate, a poor termination, a joint that opens, a wire joined to a rail",
        "controller": "the adapter's controller met errors: a wrong bit rate, a poor termination, a joint that opens",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        for bus in harness.buses:
            yield Step(
                id=f"bus_errors:{bus.name}",
                check=self.name,
                stage=self.stage,
                quantity=Quantity.CAN,
                state=units_in(harness, plug_order(harness)),
                question=f"is {bus.name} free of error frames?",
                subject=(bus.name,),
                band=Band(None, 0.0, "frames", "common practice, no source: a sound bus at the bench shows none"),
                settings={"bus": bus.name},
            )

    def measure(self, step: Step) -> Measuring:
        heard = yield Request(Quantity.CAN, step.state, source=str(step.settings["bus"]))
        if heard.state is ReadingState.NONE:
            return Judged(heard, no_reading(heard))
        errors = heard.detail.get("error_frames")
        if errors is None:
            return self._by_the_controller(heard)
        if not errors and (nothing := heard_nothing(heard)) is not None:
            return Judged(nothing, no_reading(nothing))
        if not errors and heard.detail.get("recorder_gaps"):
            why = "none was seen, but for a time not everything was recorded"
            none = Reading(ReadingState.NONE, "frames", instrument=heard.instrument, detail={"why": why})
            return Judged(none, no_reading(none))
        reading = Reading(ReadingState.VALUE, "frames", float(str(errors)), instrument=heard.instrument)
        return Judged(reading, self.judge(step, reading))

    def _by_the_controller(self, heard: Reading) -> Judged:
        """An adapter that hands on no error frames may still tell of errors in its status; that it doesn't proves nothing."""
        said = str(heard.detail.get("controller") or "")
        why = "error frames: not reported by this adapter"
        if heard.detail.get("controller_errors"):
            none = Reading(ReadingState.NONE, "frames", instrument=heard.instrument, detail={"controller": said})
            return Judged(none, Verdict(Outcome.FAIL, "controller", f"{said}: {self.reasons['controller']}"))
        if said and heard.detail.get("controller_errors") is not None:
            why += f" (its controller says: {said})"
        none = Reading(ReadingState.NONE, "frames", instrument=heard.instrument, detail={"why": why})
        return Judged(none, Verdict(Outcome.UNSURE, "not_reported", why))
