"""Two runs join the same two contacts, and are neither grounds nor shields, which are doubled on purpose."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role, Run
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View

_DOUBLED = frozenset({Role.GROUND, Role.SHIELD})


@review_rule
class ParallelRuns(Rule):
    code = "parallel_runs"
    severity = Severity.WARNING
    title = "No two runs join the same two contacts"
    why = "One of the two hides that the other is open, and each hides it from the meter; often it is a row copied."
    do = "Delete the row that is too many; a doubled run that is meant is proved by lifting one end."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        first: dict[frozenset[str], Run] = {}
        for run in view.harness.runs:
            if not run.b or run.role in _DOUBLED:
                continue
            ends = frozenset(run.ends)
            other = first.setdefault(ends, run)
            if other is not run:
                text = f"{run.wire} and {other.wire} both join {run.a} and {run.b} ({other.wire}: {other.place})"
                yield Hit((other.wire, run.wire), run.place, text)
