"""Two conductors together are more than their contact holds."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.connector.contact_gauges import CONTACT_GAUGES_SOURCE, gauges_of
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.harness.wire import TABLE_SOURCE, awg_text, circular_mils
from benchcheck.words.contact import pin_of, ref_of

# two of AWG 20 have a quarter of a percent more than one of 16, and do go into its contact (common practice, no source)
SPARE = 1.01


@review_rule
class ContactOverfilled(Rule):
    code = "contact_overfilled"
    severity = Severity.FINDING
    title = "The conductors of a double contact fit it together"
    why = "Two conductors that don't fit are thinned out by cutting strands, and such a crimp breaks or heats."
    do = "Join the two in a splice with one conductor to the contact, or use thinner wire."
    source = f"circular mils added up ({TABLE_SOURCE}), against those of the thickest gauge: {CONTACT_GAUGES_SOURCE}"

    def hits(self, view: View) -> Iterator[Hit]:
        for contact, runs in view.runs_at.items():
            connector = view.harness.connectors[ref_of(contact)]
            range_ = gauges_of(view.size_of(contact)) if len(runs) > 1 else None
            if range_ is None or pin_of(contact) not in connector.doubles:
                continue
            mils = [circular_mils(run.awg) for run in runs if run.awg is not None]
            most = circular_mils(range_[0])
            if sum(mils) > most * SPARE >= max(mils):  # one that is too thick alone is another rule's
                wires = " and ".join(f"{run.wire} AWG {awg_text(run.awg)}" for run in runs if run.awg is not None)
                sums = " + ".join(f"{each:.0f}" for each in mils)
                text = (
                    f"{contact} is of size {view.size_of(contact)} and holds at most AWG {awg_text(range_[0])}, "
                    f"{most:.0f} circular mils; {wires} have {sums} = {sum(mils):.0f}"
                )
                yield Hit((contact, *(run.wire for run in runs)), runs[-1].place, text)
