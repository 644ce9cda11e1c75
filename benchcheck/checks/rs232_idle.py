"""RS-232 idle level: a living transmitter holds its wire at -3 V or below while it says nothing.

A receiver takes an unplugged or grounded input for "idle", so a quiet line proves nothing: the wire is
measured. The contact is touched at the tapped connector through a breakout lead, units in.
"""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.model import Link, Talk
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.contact import ref_of
from benchcheck.words.reading import Reading
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band


@check_kind
class Rs232Idle(CheckKind):
    name = "rs232_idle"
    stage = Stage.POWER
    rank = 110
    title = "RS-232 idle level of each transmitter"
    reasons = {
        "not_driven": "nothing drives this wire: the transmitter is dead, or transmit and receive are exchanged",
        "inverted": "positive while idle: inverted levels, a held break, or logic levels instead of RS-232",
        "undefined": "between -3 and +3 V: no RS-232 level; a loaded or failing transmitter",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        state = units_in(context.harness, plug_order(context.harness))
        for link in context.harness.links:
            for talk in link.talks:
                contact = tapped_contact(link, talk)
                yield Step(
                    id=f"rs232_idle:{link.name}:{talk.sender}",
                    check=self.name,
                    stage=self.stage,
                    quantity=Quantity.VOLTS,
                    state=state,
                    question=f"does {talk.sender} hold {contact} at a mark level ({link.name})?",
                    subject=(link.name, talk.sender, contact),
                    red=contact,
                    black=link.ground,
                    # A busy line spends part of its time at space, so the mean a meter shows lies above the mark.
                    band=Band(-15.0, -3.0, "V", "TIA-232-F: mark is -3 to -15 V at the receiver"),
                    settings={"unit": talk.sender, "link": link.name, "talk": talk.tx},
                )

    def fail_reason(self, step: Step, reading: Reading) -> str:
        if reading.value > 3.0:
            return "inverted"
        return "not_driven" if abs(reading.value) < 1.0 else "undefined"


def tapped_contact(link: Link, talk: Talk) -> str:
    """The end of a talk's wire at the connector where the link is tapped."""
    return talk.tx if ref_of(talk.tx) == link.tap else talk.rx
