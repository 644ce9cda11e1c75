"""Two RS-232 transmitters drive one wire."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class TxToTx(Rule):
    code = "tx_to_tx"
    severity = Severity.FINDING
    title = "No two RS-232 transmitters are joined"
    why = "Two transmitters on one wire drive against each other, and nobody hears either."
    do = "A transmitter goes to a receiver: exchange the two contacts at one end of the link."
    source = "TIA-232-F: point-to-point circuits with one driver each (from memory)"

    def hits(self, view: View) -> Iterator[Hit]:
        for net, drivers in view.net_roles.drivers.items():
            if net not in view.net_roles.crossed_twice:
                said = " and ".join(view.named(contact) for contact in drivers)
                yield Hit(drivers, view.place_of(drivers[1]), f"transmitters on one wire: {said}")
