"""A branch of a CAN bus is longer than the bit rate allows."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.can_line import STUB_SOURCE, longest_branch_m
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class CanBranchTooLong(Rule):
    code = "can_branch_too_long"
    severity = Severity.FINDING
    title = "No branch of a CAN bus is longer than its bit rate allows"
    why = (
        "An unterminated branch reflects each edge; the longer it is, the later the echo comes, until "
        "it falls into the sample."
    )
    do = (
        "Shorten the branch, or take the bus in and out of the unit; set max_stub_m where the network "
        "has a rule of its own."
    )
    source = STUB_SOURCE

    def hits(self, view: View) -> Iterator[Hit]:
        for seen in view.buses:
            for side, line in seen.lines if seen.is_whole else ():
                most = longest_branch_m(seen.bus)
                found = [b for b in line.branches if b.length_m > most and not b.forks and len(b.units) < 2]
                for branch in found:
                    rule = "max_stub_m" if seen.bus.max_stub_m is not None else f"at {seen.bus.bitrate / 1000:g} kbit/s"
                    text = (
                        f"{seen.bus.name}, {side}: the branch from {branch.joint} to {branch.tip} is "
                        f"{branch.length_m:g} m long, more than {most:.3g} m ({rule})"
                    )
                    yield Hit((seen.bus.name, branch.joint, branch.tip), seen.bus.place, text)
                if found:
                    break  # the other wire runs along it
