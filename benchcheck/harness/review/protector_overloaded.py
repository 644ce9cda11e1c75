"""The units behind a protector or switch draw more than its rating."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.feed_currents import ROUNDING
from benchcheck.harness.model import Run
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class ProtectorOverloaded(Rule):
    code = "protector_overloaded"
    severity = Severity.FINDING
    title = "No protector or switch carries more than its rating"
    why = "A breaker below its load trips as soon as everything is on; a switch beyond its rating wears out or welds."
    do = "Use a larger one, with wire to match, or share the load out over several."
    source = "load_a of the units behind it, added up; common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        own = view.converter_branches
        for conductor in view.currents.conductors:
            part, amps = conductor.item, abs(conductor.amps)
            if isinstance(part, Run) or part.rating_a is None or part.ref in own:
                continue
            if amps > part.rating_a * (1 + ROUNDING):
                text = f"{part.ref} is rated {part.rating_a:g} A, and what is behind it draws {amps:.3g} A"
                yield Hit((part.ref,), part.place, text)
