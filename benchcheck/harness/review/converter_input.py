"""The wire or protector at a converter's input is too small for what it draws."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.feed_currents import ROUNDING, Conductor
from benchcheck.harness.model import Role, Run
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.harness.wire import TABLE_SOURCE, ampacity_a, awg_text


@review_rule
class ConverterInput(Rule):
    code = "converter_input"
    severity = Severity.FINDING
    title = "The input of a converter is wired and protected for its input current"
    why = (
        "A converter that gives more volts takes more amperes: sized for its output, wire and protector "
        "of the input are too small."
    )
    do = (
        "Size wire and protector of the input for output x output volts / (efficiency x input volts), "
        "and what it draws itself."
    )
    source = f"power in = power out / efficiency; {TABLE_SOURCE}"

    def hits(self, view: View) -> Iterator[Hit]:
        for contact, branch in view.converter_inputs.items():
            if Role.GROUND in view.missing_roles.get(view.described[contact][0].ref, ()):
                continue  # its return, which is reported as forgotten, goes another way
            drawn = [c for c in view.currents.converted if c.contact == contact]
            small = [too_small for conductor in branch if (too_small := _too_small(view, conductor))]
            if not small:
                continue
            sums = " + ".join(
                [*(c.arithmetic for c in drawn), *([f"{drawn[0].idle_a:g} A of its own"] if drawn[0].idle_a else [])]
            )
            text = f"{view.named(contact)} draws {sums}: too much for {' and '.join(small)}"
            yield Hit((drawn[0].unit.ref, *(c.name for c in branch if _too_small(view, c))), branch[0].item.place, text)


def _too_small(view: View, conductor: Conductor) -> str:
    item, amps = conductor.item, abs(conductor.amps) / (1 + ROUNDING)
    if isinstance(item, Run):
        if item.awg is not None and amps > (most := ampacity_a(item.awg, view.insulation_c(item))):
            return f"{item.wire}, AWG {awg_text(item.awg)} ({most:g} A)"
    elif item.rating_a is not None and amps > item.rating_a:
        return f"{item.ref} ({item.rating_a:g} A)"
    return ""
