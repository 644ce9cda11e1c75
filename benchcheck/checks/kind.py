"""What a check kind is, and the one list of them: every module of this package that registers one.

To add a check kind, add one file to this folder with a class that derives from `CheckKind`, has a
`name`, and is decorated with `@check_kind`. Planning, running, the list in the docs and the contract
tests all find it by itself.
"""

from __future__ import annotations

import importlib
import pkgutil
from abc import ABC, abstractmethod
from collections.abc import Generator, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import ClassVar

from benchcheck.harness.circuit import Circuit, circuit_of
from benchcheck.harness.conducting import Conducting, conducting
from benchcheck.harness.model import Harness
from benchcheck.harness.nets import nets_of
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict
from benchcheck.words.ways import Ways


@dataclass(frozen=True, slots=True)
class Judged:
    """What a check ends with: the reading it judged, and the verdict."""

    reading: Reading
    verdict: Verdict


Measuring = Generator[Request, Reading, Judged]


class Context:
    """What the kinds need to say what must be measured: the harness, its nets, its circuits, the meter, the ways chosen."""

    def __init__(self, harness: Harness, meter: MeterSpec, ways: Ways | None = None) -> None:
        self.harness = harness
        self.meter = meter
        self.ways = ways or Ways()
        self.nets = nets_of(harness)
        self._circuits: dict[BenchState, Circuit] = {}

    def circuit(self, state: BenchState) -> Circuit:
        """The harness as it should be, in a bench state."""
        # a breakout lead joins nothing, nor does a supply that is on
        joined = replace(state, breakout=frozenset(), supply_on=False)
        if joined not in self._circuits:
            self._circuits[joined] = circuit_of(self.harness, joined)
        return self._circuits[joined]

    @cached_property
    def groups(self) -> Conducting:
        """The conducting groups, all connectors open: what isolation is asked of."""
        return conducting(self.harness, self.nets, self.circuit(ALL_OPEN).edges.values())


class CheckKind(ABC):
    """One kind of check: which steps it wants, what a step measures, and what the reading means."""

    name: ClassVar[str]
    stage: ClassVar[Stage]
    rank: ClassVar[int]  # where power is on or units are in, lower ranks run first: what must be safe before what
    title: ClassVar[str]
    reasons: ClassVar[Mapping[str, str]]  # reason code -> what to look at

    @abstractmethod
    def steps(self, context: Context) -> Iterable[Step]:
        """The steps that this harness needs, in no particular order."""

    def measure(self, step: Step) -> Measuring:
        """Ask for readings and end with a verdict. Most kinds ask once and judge against the band."""
        reading = yield Request(step.quantity, step.state, step.red, step.black, step.load_a)
        return Judged(reading, self.judge(step, reading))

    def blur(self, step: Step, meter: MeterSpec, value: float) -> float:
        """The uncertainty that this meter leaves around what the step judges, in the band's unit, at a value."""
        if step.quantity is Quantity.VOLTS:
            return meter.volt_uncertainty(value)
        if step.quantity is Quantity.AMPS:
            return meter.amp_uncertainty(value)
        return meter.ohm_uncertainty(value)

    def judge(self, step: Step, reading: Reading) -> Verdict:
        """The verdict on one reading against the step's band."""
        band = step.band
        if band is None:
            raise ValueError(f"step {step.id} has no band")
        if reading.state is ReadingState.NONE:
            return no_reading(reading)
        if reading.unit == "ohm" and reading.value < -reading.uncertainty:
            return Verdict(Outcome.UNSURE, "below_nothing", f"{reading.text}: is there a voltage on the circuit?")
        outcome = (
            over_range(band, reading)
            if reading.state is ReadingState.OVER
            else band.outcome(reading.value, reading.uncertainty)
        )
        if outcome is Outcome.UNSURE:
            return Verdict(outcome, "meter_cannot_tell", f"{reading.text}: too near the limit for this meter")
        if outcome is Outcome.PASS and reading.detail.get("contact_counts") is False:
            text = f"{reading.text}: contact is {reading.detail.get('contact')} alone, and the profile wants it proved"
            return Verdict(Outcome.UNSURE, "contact_not_proved", text)
        if outcome is Outcome.PASS:
            return Verdict(outcome, "in_band", reading.text)
        reason = self.fail_reason(step, reading)
        return Verdict(outcome, reason, f"{reading.text}: {self.reasons[reason]}")

    def fail_reason(self, step: Step, reading: Reading) -> str:
        """The reason code of a FAIL."""
        return next(iter(self.reasons))


def no_reading(reading: Reading) -> Verdict:
    """UNSURE: whatever kept the reading away, it proves nothing either way."""
    return Verdict(Outcome.UNSURE, "no_reading", str(reading.detail.get("why", "no reading")))


def heard_nothing(heard: Reading) -> Reading | None:
    """No reading where a listening can't prove an absence: no frame came, or some were dropped; else None."""
    dropped = heard.detail.get("dropped_frames")
    if not dropped and heard.detail.get("frames"):
        return None
    return Reading.none(f"{dropped} frames were dropped" if dropped else "nothing was heard", heard.unit)


def over_range(band: Band, reading: Reading) -> Outcome:
    """The outcome of "more than the range": it passes a band open at the top that the range reaches."""
    if band.high is not None:
        return Outcome.FAIL if not reading.over_above < band.high else Outcome.UNSURE
    if band.low is None or reading.over_above >= band.low:
        return Outcome.PASS
    return Outcome.UNSURE


_KINDS: dict[str, CheckKind] = {}


def check_kind(kind: type[CheckKind]) -> type[CheckKind]:
    """Register a check kind under its name."""
    if kind.name in _KINDS:
        raise ValueError(f"two check kinds are called {kind.name}")
    _KINDS[kind.name] = kind()
    return kind


@cache
def all_kinds() -> Mapping[str, CheckKind]:
    """Every check kind by name."""
    package = importlib.import_module("benchcheck.checks")
    for module in pkgutil.iter_modules(package.__path__):
        importlib.import_module(f"benchcheck.checks.{module.name}")
    return dict(sorted(_KINDS.items()))
