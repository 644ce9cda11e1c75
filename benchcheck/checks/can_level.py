"""CAN level: units in, where do CAN-H and CAN-L sit against ground?"""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.buses import pairs
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band


@check_kind
class CanLevel(CheckKind):
    name = "can_level"
    stage = Stage.POWER
    rank = 120
    title = "CAN-H and CAN-L levels, units in"
    reasons = {
        "off_level": "a bus wire sits at the wrong level: joined to a rail, exchanged, or no unit drives the bus"
    }

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        state = units_in(harness, plug_order(harness))
        for bus in harness.buses:
            place = next((p for p in pairs(harness, bus) if p.connector == bus.adapter_at), None)
            if place is None:
                continue
            for contact, wire, low, high in ((place.high, "CAN-H", 2.0, 3.5), (place.low, "CAN-L", 1.5, 3.0)):
                yield Step(
                    id=f"can_level:{bus.name}:{wire}",
                    check=self.name,
                    stage=self.stage,
                    quantity=Quantity.VOLTS,
                    state=state,
                    question=f"does {wire} of {bus.name} sit at its level at {contact}?",
                    subject=(bus.name, contact),
                    red=contact,
                    black=harness.chassis,
                    band=Band(
                        low,
                        high,
                        "V",
                        "ISO 11898-2: recessive 2.0 to 3.0 V; a meter's mean moves towards 3.5 / 1.5 V with traffic",
                    ),
                    settings={"bus": bus.name},
                )
