"""A result: a step, what was read, and what the check said of it."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.words.reading import Reading
from benchcheck.words.step import Step
from benchcheck.words.verdict import Outcome, Verdict


@dataclass(frozen=True, slots=True)
class Result:
    """What a step came to."""

    step: Step
    reading: Reading
    verdict: Verdict

    @property
    def outcome(self) -> Outcome:
        return self.verdict.outcome
