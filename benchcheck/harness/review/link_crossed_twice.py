"""Both wires of an RS-232 link are crossed once too often."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class LinkCrossedTwice(Rule):
    code = "link_crossed_twice"
    severity = Severity.FINDING
    title = "A link is crossed once: transmitter to receiver both ways"
    why = "Transmitter goes to transmitter and receiver to receiver: nothing is heard either way."
    do = (
        "Exchange the two contacts at one end of the link; a cable that crosses between units that "
        "cross inside does this too."
    )
    source = "TIA-232-F: point-to-point circuits with one driver each (from memory)"

    def hits(self, view: View) -> Iterator[Hit]:
        for crossed in dict.fromkeys(view.net_roles.crossed_twice.values()):
            drivers, receivers = (" to ".join(map(view.named, each)) for each in (crossed.drivers, crossed.receivers))
            text = f"crossed twice: transmitter {drivers}, and receiver {receivers}"
            yield Hit((*crossed.drivers, *crossed.receivers), view.place_of(crossed.drivers[0]), text)
