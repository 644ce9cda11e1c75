"""A CAN bus is longer than its bit rate allows."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.can_line import LONGEST_SOURCE, longest_line_m
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class CanTooLong(Rule):
    code = "can_too_long"
    severity = Severity.FINDING
    title = "No CAN bus is longer than its bit rate allows"
    why = (
        "Every node must hear the others within the bit that they answer in; over a longer line "
        "acknowledge and arbitration fail."
    )
    do = "Lower the bit rate, or lead the bus a shorter way."
    source = LONGEST_SOURCE

    def hits(self, view: View) -> Iterator[Hit]:
        for seen in view.buses:
            for side, line in seen.lines if seen.is_whole else ():
                most = longest_line_m(seen.bus.bitrate)
                if line.length_m > most:
                    text = (
                        f"{seen.bus.name}, {side}: {line.length_m:g} m from {' to '.join(line.ends)}, "
                        f"more than {most:g} m at {seen.bus.bitrate / 1000:g} kbit/s"
                    )
                    yield Hit((seen.bus.name,), seen.bus.place, text)
                    break  # the other wire runs along it
