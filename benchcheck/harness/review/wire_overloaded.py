"""A wire carries more current than it bears in a bundle."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.feed_currents import ROUNDING
from benchcheck.harness.model import Run
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.harness.wire import TABLE_SOURCE, ampacity_a, awg_text


@review_rule
class WireOverloaded(Rule):
    code = "wire_overloaded"
    severity = Severity.FINDING
    title = "No wire carries more than its gauge and insulation bear"
    why = "In a bundle heat can't leave: the wire grows hotter than its insulation is made for."
    do = "Use thicker wire, or wire of a higher temperature rating (insulation_c of the cable or of the harness)."
    source = f"{TABLE_SOURCE}: 70 degrees around it, 33 wires and more in the bundle (8 and thicker: 9), a fifth of it loaded"

    def hits(self, view: View) -> Iterator[Hit]:
        own = view.converter_branches
        for conductor in view.currents.conductors:
            run, amps = conductor.item, abs(conductor.amps)
            if not isinstance(run, Run) or run.awg is None or not amps or run.wire in own:
                continue
            most = ampacity_a(run.awg, view.insulation_c(run))
            if amps > most * (1 + ROUNDING):
                text = (
                    f"{run.wire}, AWG {awg_text(run.awg)} rated {view.insulation_c(run)} degrees, carries {amps:.3g} A, "
                    f"more than {most:g} A"
                )
                yield Hit((run.wire,), run.place, text)
