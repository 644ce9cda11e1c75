"""A unit gets less volts than its feed may lose on the way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchcheck.harness.feed_currents import ROUNDING, Conductor
from benchcheck.harness.model import Run
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.harness.wire import ALLOWED_DROP, TABLE_SOURCE, allowed_drop_v, awg_text

MOST_TERMS = 6


@review_rule
class VoltageDrop(Rule):
    code = "voltage_drop"
    severity = Severity.FINDING
    title = "No feed loses more on the way to a unit and back than is allowed"
    why = "What the wire takes the unit lacks: it resets when everything is on, on the day that the battery is low."
    do = "Use thicker wire where most is lost, lead it a shorter way, or give the unit a wire of its own."
    source = f"AC 43.13-1B table 11-6, continuous (in part from memory); {TABLE_SOURCE}"

    def hits(self, view: View) -> Iterator[Hit]:
        currents = view.currents
        for load in currents.loads:
            nominal = load.feed.nominal_v
            allowed = allowed_drop_v(nominal)
            there, back = currents.supply_drop_v(load), currents.return_drop_v(load)
            if there + back <= allowed * (1 + ROUNDING):
                continue
            basis = "" if nominal in ALLOWED_DROP else " (smallest ratio of table 11-6)"
            text = (
                f"{view.named(load.contact)} loses {_near(there + back, allowed)} V of {nominal:g} V, more than {allowed:.3g} V{basis}: "
                f"{_sum(currents.supply_way(load))} = {there:.3g} V there"
            )
            if load.returned:
                text += f", {_sum(currents.return_way(load))} = {back:.3g} V back"
            yield Hit((load.contact, load.feed.name), view.place_of(load.contact), text)


def _near(value: float, limit: float) -> str:
    """A value to three digits, or to as many as tell it from the limit."""
    texts = (f"{value:.{digits}g}" for digits in range(3, 8))
    return next((text for text in texts if float(text) != limit), f"{value:.3g}")


def _sum(way: Sequence[Conductor]) -> str:
    """The terms of a drop, the greatest first: `W110 2.5 A x 0.0745 ohm`."""
    terms = sorted(way, key=lambda conductor: -conductor.drop_v)
    said = [f"{c.name} {_gauge(c)}{abs(c.amps):.3g} A x {c.ohm:.3g} ohm" for c in terms[:MOST_TERMS]]
    rest = sum(conductor.drop_v for conductor in terms[MOST_TERMS:])
    return " + ".join([*said, *([f"{rest:.2g} V in {len(terms) - MOST_TERMS} more"] if rest else [])])


def _gauge(conductor: Conductor) -> str:
    run = conductor.item
    if not isinstance(run, Run) or run.awg is None or run.length_m is None:
        return ""
    return f"(AWG {awg_text(run.awg)}, {run.length_m:g} m) "
