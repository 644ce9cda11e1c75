"""A breakout lead is an instrument: what it fits on, how it counts, what a way of it adds, and when it was last proved.

Pure: what day it is comes in as a value.

A bench that lists no leads works with whatever lead a person has; the record then says that it was not proved. On a bench
that lists some, what is read through a breakout lead is read through one of those, checked in time, or not at all.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from benchcheck.harness.model import Connector, Gender
from benchcheck.words.reading import Reading, ReadingState

CHECK_DAYS = 30  # common practice, no source
# How well the resistance of one way is known where the bench file doesn't say: a quarter of it, and never better than
# two counts of a milliohm-reading bench meter (common practice, no source).
_WITHIN_PART, _WITHIN_OHM = 0.25, 0.02

_DO = "Do its self-check (benchcheck breakout --check NAME), or put the day in bench.toml"
NOT_LISTED = "a lead that bench.toml does not list: not proved"


@dataclass(frozen=True, slots=True)
class BreakoutLead:
    """One lead.

    name        as marked on it
    family      of connector
    gender      of its half that goes onto the harness connector: the other one than the harness half
    at          the only connector that it is for; empty where it goes on any that fits
    sockets     its own socket label -> contact; empty where they count alike
    ohm         resistance of one of its ways, end to end
    within_ohm  how well that is known, half width
    checked     day of its last self-check; None where it never had one
    check_days  for so long a self-check is good
    """

    name: str
    family: str
    gender: Gender
    ohm: float
    within_ohm: float
    checked: date | None
    check_days: int = CHECK_DAYS
    at: str = ""
    sockets: Mapping[str, str] = field(default_factory=dict)

    def misfit(self, connector: Connector) -> str:
        """Why it doesn't go onto a harness connector; empty where it does."""
        if self.at and self.at != connector.ref:
            return f"{self.name} is for {self.at}"
        if self.family != connector.family:
            return f"{self.name} is a {self.family}"
        if connector.gender is not Gender.NONE and self.gender is connector.gender:
            return f"{self.name} has {self.gender.value}s, and so has {connector.ref}"
        missing = [pin for pin in connector.contacts if self.sockets and pin not in self.sockets.values()]
        return f"{self.name} has no socket for contact {', '.join(missing[:3])}" if missing else ""

    def overdue(self, today: date) -> str:
        """Why its self-check doesn't hold on a day; empty where it does."""
        if self.checked is None:
            return f"{self.name} has no self-check that it passed"
        if self.checked > today + timedelta(days=1):  # where it is written, the next day may have begun
            return f"the self-check of {self.name} is dated {self.checked}, which is still to come"
        if today > self.checked + timedelta(days=self.check_days):
            return f"the self-check of {self.name} was on {self.checked} and is good for {self.check_days} days"
        return ""

    def labels(self) -> dict[str, str]:
        """Contact -> label of its socket, where that is another name."""
        return {pin: label for label, pin in self.sockets.items() if label != pin}

    def __str__(self) -> str:
        day = f"self-check {self.checked}" if self.checked else "no self-check"
        return f"{self.name}, {self.ohm:g} ohm a way, {day}"


def default_within_ohm(ohm: float) -> float:
    """How well the resistance of one way is known where nobody says."""
    return max(_WITHIN_OHM, _WITHIN_PART * ohm)


@dataclass(frozen=True, slots=True)
class Chosen:
    """The lead for each connector, and for those that have none, what is wrong and what to do."""

    leads: Mapping[str, BreakoutLead]
    refusals: tuple[str, ...] = ()


def choose(leads: Sequence[BreakoutLead], connectors: Iterable[Connector], today: date) -> Chosen:
    """A lead for each connector at once. One that is meant for a connector goes first, and no lead is in two places.

    Leads without a bound connector are alike where they fit, so whatever goes first takes none from another that
    could not use the rest as well.
    """
    found: dict[str, BreakoutLead] = {}
    refusals: list[str] = []
    left = list(leads)
    for connector in sorted(connectors, key=lambda connector: connector.ref):
        fitting = [lead for lead in left if not lead.misfit(connector)]
        good = sorted((lead for lead in fitting if not lead.overdue(today)), key=lambda lead: not lead.at)
        if good:
            found[connector.ref] = good[0]
            left.remove(good[0])
        elif fitting:
            why = "; ".join(lead.overdue(today) for lead in fitting)
            refusals.append(f"breakout lead at {connector.ref}: {why}. {_DO}")
        else:
            used = [lead.name for lead in leads if not lead.misfit(connector)]
            why = f"{', '.join(used)} is in use" if used else "none in bench.toml fits"
            half = "" if connector.gender is Gender.NONE else f" with {_other(connector.gender)}s"
            refusals.append(
                f"breakout lead at {connector.ref}: {why}. Name one for a {connector.family}{half} under [[breakouts]]"
            )
    return Chosen(found, tuple(refusals))


def _other(gender: Gender) -> str:
    return (Gender.PIN if gender is Gender.SOCKET else Gender.SOCKET).value


def taken_off(reading: Reading, leads: Sequence[BreakoutLead]) -> Reading:
    """An ohms reading without the ways of the leads that it was read through, one for each lead given.

    What isn't known of their resistance is added to the uncertainty. What is no number stays as it is; what comes out
    less than nothing, by more than the uncertainty, is no reading.
    """
    if reading.state is not ReadingState.VALUE or not leads:
        return reading
    ohm = sum(lead.ohm for lead in leads)
    within_ohm = sum(lead.within_ohm for lead in leads)
    value, uncertainty = round(reading.value - ohm, 9), reading.uncertainty + within_ohm
    detail = {**reading.detail, "breakout_ohm": ohm, "breakout_within_ohm": within_ohm}
    if value < -uncertainty:
        why = f"{reading.text} less {ohm:.2g} ohm of breakout lead is less than nothing: is it another lead?"
        return replace(reading, state=ReadingState.NONE, value=math.nan, detail={**detail, "why": why})
    return replace(reading, value=value, uncertainty=uncertainty, detail=detail)
