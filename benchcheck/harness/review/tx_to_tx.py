"""Two RS-232 transmitters drive one wire."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
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
        for _, entries in view.unit_nets():
            drivers = [contact for contact, _, entry in entries if entry.role is Role.RS232_TX]
            if len(drivers) > 1:
                runs = view.runs_at.get(drivers[1], ())
                place = runs[0].place if runs else view.harness.connectors[drivers[1].partition("-")[0]].place
                said = " and ".join(view.named(contact) for contact in drivers)
                yield Hit(tuple(drivers), place, f"transmitters on one wire: {said}")
