"""The report as values: everything a rendering shows, and nothing that it would have to compute.

Built by `build.build_report`; rendered by `html` and `json_report`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.plan.coverage import Coverage
from benchcheck.report.facts import Capture, ProfileChange, Rework, Session, SquawkRow, Waiver
from benchcheck.words.errors import ExitCode

NO_APPROVAL = (
    "This is a measuring and record-keeping aid. It gives no airworthiness or safety approval; local codes and "
    "licensed practice rule."
)
NAMES = "Names in this report were typed in and are not authenticated."
CHAIN = (
    "Each event of the record carries the hash of the one before it. That finds accidents and casual edits; "
    "it does not stop a determined forger, who can compute every hash anew. Note the head elsewhere, to compare later."
)
CAUTIONS = (
    "Dead circuits first: power off and a volts reading near zero before any reading in ohms.",
    "Set the supply's current limit before it is switched on; protectors stay fitted.",
    "Isolate batteries; run the computer on its own battery, or through isolated adapters.",
    "Isolation here is a reading at the meter's own test voltage. It is no insulation resistance test.",
)


class Word(StrEnum):
    """What stands in a verdict column: the four outcomes, and two that say that there is none in force."""

    PASS = "PASS"
    FAIL = "FAIL"
    UNSURE = "UNSURE"
    SKIPPED = "SKIPPED"
    STALE = "STALE"  # was read, but reworked since
    TO_DO = "TO DO"  # not measured yet


@dataclass(frozen=True, slots=True)
class Former:
    """A reading or skip of a step that does not count: superseded, or fallen."""

    word: Word
    reading: str
    value: float | None
    unit: str
    text: str
    who: str
    at_utc: str
    seq: int


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step and the reading that is in force.

    limit, reading    as a person would say them; empty where there is none
    value, half_width, low, high  the same as numbers
    seq               number of the event in the record; 0 where nothing was recorded
    times             how many readings of this step the record holds
    waived            the reason of its waiver
    former            every other reading and skip of it, in order
    """

    id: str
    check: str
    stage: str
    state: str
    question: str
    contacts: str
    limit: str
    limit_source: str
    reading: str
    uncertainty: str
    word: Word
    reason: str
    text: str
    note: str
    instrument: str
    who: str
    at_utc: str
    seq: int
    times: int
    waived: str
    subject: tuple[str, ...]
    value: float | None = None
    half_width: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    detail: Mapping[str, object] | None = None
    former: tuple[Former, ...] = ()


@dataclass(frozen=True, slots=True)
class StepGroup:
    """Steps of one stage in one bench state, in plan order."""

    stage: str
    state: str
    rows: tuple[StepRow, ...]


@dataclass(frozen=True, slots=True)
class StageCount:
    """How many steps of a stage end in which word; every word has an entry."""

    stage: str
    steps: int
    words: Mapping[Word, int]


@dataclass(frozen=True, slots=True)
class ConnectorRow:
    """One connector; `stages` says for each stage how its steps stand ("PASS 14", "FAIL 1 of 14", nothing)."""

    ref: str
    family: str
    unit: str
    zone: str
    stages: Mapping[str, tuple[Word | None, str]]


@dataclass(frozen=True, slots=True)
class UnitRow:
    """One unit on one bus. Times are seconds from power-on (first) and between its messages."""

    unit: str
    bus: str
    word: Word
    state: str
    first_s: float | None
    boot_s: float | None
    period_s: float | None
    max_gap_s: float | None
    text: str


@dataclass(frozen=True, slots=True)
class BusRow:
    """One bus. `errors` is a number in words, or that this adapter reports none."""

    bus: str
    bitrate: int | None
    frames: int | None
    load_mean_percent: float | None
    load_peak_percent: float | None
    load_limit_percent: float | None
    load_by_second: tuple[float, ...]
    errors: str
    strangers: tuple[str, ...]
    words: Mapping[str, Word]


@dataclass(frozen=True, slots=True)
class LineRow:
    """One talker of a serial line."""

    link: str
    unit: str
    contact: str
    word: Word
    bytes: int | None
    good: int | None
    bad: int | None
    types: tuple[tuple[str, int], ...]
    text: str


@dataclass(frozen=True, slots=True)
class ReportModel:
    """One report. `outcome` is what a command that judged this job would exit with.

    record_faults  what is wrong with the record itself; none where it is as it was written
    """

    title: str
    harness_title: str
    profile: str
    profile_digest: str
    profile_changed: bool
    generated_utc: str
    version: str
    started_utc: str
    last_utc: str
    events: int
    chain: str
    head_seq: int
    head_hash: str
    simulated: bool
    outcome: ExitCode
    outcome_text: str
    sessions: tuple[Session, ...]
    summary: tuple[StageCount, ...]
    squawks: tuple[SquawkRow, ...]
    ended_squawks: tuple[SquawkRow, ...]
    waivers: tuple[Waiver, ...]
    skipped: tuple[StepRow, ...]
    cannot_prove: tuple[StepRow, ...]
    reworks: tuple[Rework, ...]
    connectors: tuple[ConnectorRow, ...]
    groups: tuple[StepGroup, ...]
    former: tuple[StepRow, ...]
    follow_ups: tuple[StepRow, ...]
    units: tuple[UnitRow, ...]
    buses: tuple[BusRow, ...]
    lines: tuple[LineRow, ...]
    captures: tuple[Capture, ...]
    record_faults: tuple[str, ...] = ()
    profile_changes: tuple[ProfileChange, ...] = ()
    coverage: Coverage | None = None  # of isolation: what the plan proves apart, and what is proved by now

    @property
    def steps(self) -> tuple[StepRow, ...]:
        """Every step of the plan, in order."""
        return tuple(row for group in self.groups for row in group.rows)
