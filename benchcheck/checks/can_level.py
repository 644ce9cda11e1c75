"""CAN level: units in, where do CAN-H and CAN-L sit against ground?"""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.buses import pairs
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band

# ISO 11898-2 levels by transceiver data sheets: a dominant CAN-H is some 1 V above recessive, at most 1.5 V; the difference
# is at most 3.0 V dominant, and within 120 mV recessive.
DOMINANT_SHIFT_V = 1.5
DOMINANT_V = 3.0
RECESSIVE_V = 0.12


@check_kind
class CanLevel(CheckKind):
    name = "can_level"
    stage = Stage.POWER
    rank = 120
    title = "CAN-H and CAN-L levels, units in"
    reasons = {
        "off_level": "a bus wire sits at the wrong level: joined to a rail, held dominant, exchanged, or nobody drives the bus"
    }

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        state = units_in(harness, plug_order(harness))
        for bus in harness.buses:
            place = next((p for p in pairs(harness, bus) if p.connector == bus.adapter_at), None)
            if place is None:
                continue
            # The mean that a meter shows moves from recessive towards dominant with the share of dominant bits, which
            # stays below the load.
            busy = bus.max_load_percent / 100
            rows = (
                ("CAN-H", place.high, harness.chassis, 2.0, 3.0 + busy * DOMINANT_SHIFT_V),
                ("CAN-L", place.low, harness.chassis, 2.0 - busy * DOMINANT_SHIFT_V, 3.0),
                ("CAN-H to CAN-L", place.high, place.low, -RECESSIVE_V, RECESSIVE_V + busy * DOMINANT_V),
            )
            for wire, red, black, low, high in rows:
                yield Step(
                    id=f"can_level:{bus.name}:{wire}",
                    check=self.name,
                    stage=self.stage,
                    quantity=Quantity.VOLTS,
                    state=state,
                    question=f"does {wire} of {bus.name} sit at its level at {red}?",
                    subject=(bus.name, red),
                    red=red,
                    black=black,
                    band=Band(
                        low,
                        high,
                        "V",
                        "ISO 11898-2: recessive 2.0 to 3.0 V each, dominant up to 3.0 V between them; "
                        f"a meter's mean with at most {bus.max_load_percent:g} percent load",
                    ),
                    settings={"bus": bus.name},
                )
