"""A CAN bus is a ring, or a branch of it is a bus of its own."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.can_line import Line
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View

MOST_NAMED = 8


@review_rule
class CanNotALine(Rule):
    code = "can_not_a_line"
    severity = Severity.FINDING
    title = "Each CAN bus is one line, from node to node"
    why = (
        "A ring and a long tree have no two ends to terminate; what is sent comes back from every end "
        "and falls into itself."
    )
    do = "Open the ring at one place; take a branch in and out of each unit, so that the line passes it."
    source = "ISO 11898-2: a linear bus, terminated at both ends, with short stubs"

    def hits(self, view: View) -> Iterator[Hit]:
        for seen in view.buses:
            for side, line in seen.lines if seen.is_whole else ():
                text = self._trouble(line)
                if text:
                    where = (seen.bus.name, *line.ring[:MOST_NAMED])
                    yield Hit(where, seen.bus.place, f"{seen.bus.name}, {side}: {text}")
                    break  # the other wire runs along it

    def _trouble(self, line: Line) -> str:
        if line.ring:
            more = f" and {len(line.ring) - MOST_NAMED} more" if len(line.ring) > MOST_NAMED else ""
            return f"a ring of {', '.join(line.ring[:MOST_NAMED])}{more}"
        for branch in line.branches:
            if branch.forks or len(branch.units) > 1:
                on_it = f" with {', '.join(branch.units)} on it" if branch.units else ""
                return f"what leaves the line at {branch.joint} is no stub but a tree{on_it}"
        return ""
