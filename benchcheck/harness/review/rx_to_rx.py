"""Receivers are joined, and no transmitter drives them."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class RxToRx(Rule):
    code = "rx_to_rx"
    severity = Severity.FINDING
    title = "No RS-232 receivers are joined without a transmitter"
    why = "Nothing is ever said on a wire that only listens."
    do = "A receiver goes to a transmitter: exchange the two contacts at one end of the link."
    source = "TIA-232-F: point-to-point circuits with one driver each (from memory)"

    def hits(self, view: View) -> Iterator[Hit]:
        for net, receivers in view.net_roles.receivers.items():
            if net not in view.net_roles.crossed_twice:
                said = " and ".join(view.named(contact) for contact in receivers)
                yield Hit(receivers, view.place_of(receivers[1]), f"receivers on one wire, and no transmitter: {said}")
