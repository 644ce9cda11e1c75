"""A node of a CAN bus is not on its wires."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import ref_of


@review_rule
class NodeOffBus(Rule):
    code = "node_off_bus"
    severity = Severity.FINDING
    title = "Both wires of a CAN bus reach the adapter and every node"
    why = "A node that the wires don't reach is never heard; without the adapter's connector nothing can be."
    do = "Add the missing runs, or correct nodes and adapter_at of the bus."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for bus in view.harness.buses:
            sides = dict(zip(("CAN-H", "CAN-L"), view.bus_wires(bus), strict=True))
            for name, wire in sides.items():
                if not wire:
                    text = f"{bus.name}: no {name} wire at {bus.adapter_at}, where the adapter is to be joined"
                    yield Hit((bus.adapter_at,), bus.place, text)
            if not all(sides.values()):
                continue
            for ref in bus.nodes:
                own = set(view.harness.units[ref].connectors.values())
                off = [name for name, wire in sides.items() if not any(ref_of(c) in own for c in wire)]
                if off:
                    yield Hit((ref,), bus.place, f"{bus.name}: {' and '.join(off)} don't reach {ref}")
