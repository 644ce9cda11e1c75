"""PASS, FAIL, UNSURE, SKIPPED: and the one rule that gives them from a reading and a band."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    PASS = "PASS"
    FAIL = "FAIL"
    UNSURE = "UNSURE"
    SKIPPED = "SKIPPED"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a check says of a step: the outcome, a reason code of that check, and a sentence."""

    outcome: Outcome
    reason: str
    text: str


@dataclass(frozen=True, slots=True)
class Band:
    """The limit of a step: a closed interval, its unit, and where it comes from.

    `low` or `high` is None where the band is open on that side.
    """

    low: float | None
    high: float | None
    unit: str
    source: str

    def __post_init__(self) -> None:
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"band from {self.low} to {self.high} is empty")

    def outcome(self, value: float, uncertainty: float) -> Outcome:
        """PASS if all of value ± uncertainty is inside, FAIL if all of it is outside, else UNSURE."""
        low, high = value - uncertainty, value + uncertainty
        if (self.low is None or low >= self.low) and (self.high is None or high <= self.high):
            return Outcome.PASS
        if (self.low is not None and high < self.low) or (self.high is not None and low > self.high):
            return Outcome.FAIL
        return Outcome.UNSURE
