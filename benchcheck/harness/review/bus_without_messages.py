"""Nothing is known of what is said on a CAN bus."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class BusWithoutMessages(Rule):
    code = "bus_without_messages"
    severity = Severity.WARNING
    title = "Each CAN bus has messages that are known"
    why = "Without any no unit can be told on the bus, so nothing heard there proves a unit, and every frame is a stranger."
    do = 'Give the bus a message database: network = "launch.dbc", with senders named as the units\' nodes, or tell its units by [[buses.sources]].'
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        for bus in view.harness.buses:
            if not bus.is_known:
                yield Hit((bus.name,), bus.place, f"{bus.name}: no message of it is known")
