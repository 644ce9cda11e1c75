"""A node of a CAN bus is not on its wires."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class NodeOffBus(Rule):
    code = "node_off_bus"
    severity = Severity.FINDING
    title = "Both wires of a CAN bus reach the adapter and every node"
    why = "A node that the wires don't reach is never heard; without the adapter's connector nothing can be."
    do = "Add the missing runs, or correct nodes and adapter_at of the bus."
    source = "common practice, no source"
    lacks = frozenset({Role.CAN_H, Role.CAN_L})

    def hits(self, view: View) -> Iterator[Hit]:
        for seen in view.buses:
            bus = seen.bus
            if seen.is_unfinished:
                continue  # a forgotten run or a crossed pair is reported as that
            for name, wire in seen.sides:
                if not wire:
                    text = f"{bus.name}: no {name} wire at {bus.adapter_at}, where the adapter is to be joined"
                    yield Hit((bus.adapter_at,), bus.place, text)
            if not all(seen.wires):
                continue
            apart: dict[tuple[str, ...], list[str]] = {}  # one cut leaves several nodes off
            for ref in bus.nodes:
                if off := seen.off(ref):
                    apart.setdefault(off, []).append(ref)
            for off, refs in apart.items():
                verb = "doesn't" if len(off) == 1 else "don't"
                yield Hit(tuple(refs), bus.place, f"{bus.name}: {' and '.join(off)} {verb} reach {', '.join(refs)}")
