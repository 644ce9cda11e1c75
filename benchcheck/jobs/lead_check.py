"""The self-check of a breakout lead: each of its ways end to end, and each apart from those beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from benchcheck.bench.breakout_lead import BreakoutLead
from benchcheck.harness.connector.families import FAMILIES, neighbours
from benchcheck.words.contact import contact_key
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.verdict import Band, Outcome

# What a good way may read above what bench.toml says of it, with any meter (common practice, no source). Whether it is
# what bench.toml says is asked as well, and answered as far as the meter can tell.
ALLOWANCE_OHM = 0.5
APART_OHM = 1e6


@dataclass(frozen=True, slots=True)
class LeadQuestion:
    """One reading that is wanted; `end` is on the plug, `socket` and `other` are labels of sockets.

    way   the contact whose way is read end to end; empty where two ways must be apart
    """

    red: str
    black: str
    text: str
    band: Band
    way: str = ""


@dataclass(frozen=True, slots=True)
class LeadAnswer:
    question: LeadQuestion
    reading: Reading
    outcome: Outcome

    @property
    def text(self) -> str:
        why = self.reading.detail.get("why", "")
        return f"{self.outcome.value}  {self.question.text} {self.reading.text}{f' ({why})' if why else ''}"


@dataclass(frozen=True, slots=True)
class LeadResult:
    """What came of it. ohm: mean of the ways that were read; None where none was."""

    answers: tuple[LeadAnswer, ...]

    @property
    def outcome(self) -> Outcome:
        outcomes = {answer.outcome for answer in self.answers}
        if Outcome.FAIL in outcomes:
            return Outcome.FAIL
        return Outcome.PASS if outcomes == {Outcome.PASS} else Outcome.UNSURE

    @property
    def ways_ohm(self) -> dict[str, float]:
        """Contact -> resistance of its way, where it was read."""
        return {
            answer.question.way: answer.reading.value
            for answer in self.answers
            if answer.question.way and answer.reading.state is ReadingState.VALUE
        }

    @property
    def ohm(self) -> float | None:
        ways = self.ways_ohm.values()
        return sum(ways) / len(ways) if ways else None


def lead_questions(lead: BreakoutLead) -> tuple[LeadQuestion, ...]:
    """All ways end to end, then every two sockets whose contacts lie side by side. None where its contacts aren't known."""
    family = FAMILIES[lead.family]
    label_of = {pin: label for label, pin in lead.sockets.items()}
    contacts = family.contacts or tuple(sorted(label_of, key=contact_key))
    # where the layout is not known, any two may lie side by side
    beside = neighbours(family.rows) if family.contacts else {(a, b) for a in contacts for b in contacts if a < b}
    high_ohm = lead.ohm + lead.within_ohm + ALLOWANCE_OHM
    joined = Band(
        None, high_ohm, "ohm", f"bench.toml: {lead.ohm:g} ohm a way; plus {ALLOWANCE_OHM:g} ohm for any meter"
    )
    apart = Band(APART_OHM, None, "ohm", "common practice, no source")

    def socket(pin: str) -> str:
        return f"socket {label_of.get(pin, pin)}"

    order = {pin: number for number, pin in enumerate(contacts)}
    return (
        *(
            LeadQuestion(f"contact {pin} of its plug", socket(pin), f"way {pin} end to end:", joined, pin)
            for pin in contacts
        ),
        *(
            LeadQuestion(socket(a), socket(b), f"way {a} apart from way {b}:", apart)
            for a, b in sorted(beside, key=lambda pair: (order[pair[0]], order[pair[1]]))
        ),
    )


def check_lead(lead: BreakoutLead, ask: Callable[[LeadQuestion], Reading]) -> LeadResult:
    """Ask all readings of a lead's self-check and judge them. What `ask` raises ends it."""
    return LeadResult(tuple(_judged(question, ask(question), lead) for question in lead_questions(lead)))


def _judged(question: LeadQuestion, reading: Reading, lead: BreakoutLead) -> LeadAnswer:
    if reading.state is ReadingState.NONE:
        return LeadAnswer(question, reading, Outcome.UNSURE)
    if reading.state is ReadingState.OVER:
        return LeadAnswer(question, reading, Outcome.FAIL if question.way else _over(question, reading))
    outcome = question.band.outcome(reading.value, reading.uncertainty)
    off_ohm = abs(reading.value - lead.ohm) - reading.uncertainty - lead.within_ohm
    if question.way and outcome is Outcome.PASS and off_ohm > 0:
        outcome = Outcome.FAIL  # it conducts, but what would be taken off readings is wrong
    return LeadAnswer(question, reading, outcome)


def _over(question: LeadQuestion, reading: Reading) -> Outcome:
    low_ohm = question.band.low or 0.0
    return Outcome.PASS if reading.over_above >= low_ohm else Outcome.UNSURE
