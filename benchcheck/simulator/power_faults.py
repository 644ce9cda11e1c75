"""Faults of units and feeds that show when power is on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from benchcheck.harness.model import Harness
from benchcheck.simulator.fault import POWER, Complaint, Fault, UnitFault, not_positive


@dataclass(frozen=True, slots=True)
class ConverterOff(UnitFault):
    kind: ClassVar[str] = "converter_off"
    stage: ClassVar[str] = POWER

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from UnitFault.complaints(self, harness)
        makers = tuple(feed.converter for feed in harness.feeds if feed.converter)
        if self.unit in harness.units and self.unit not in makers:
            yield "unit", f"{self.unit} makes no feed", makers


@dataclass(frozen=True, slots=True)
class UnitCurrent(UnitFault):
    factor: float
    kind: ClassVar[str] = "unit_current"
    stage: ClassVar[str] = POWER

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from UnitFault.complaints(self, harness)
        yield from not_positive("factor", self.factor)


@dataclass(frozen=True, slots=True)
class FeedVolts(Fault):
    feed: str
    volts: float
    kind: ClassVar[str] = "feed_volts"
    stage: ClassVar[str] = POWER

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.feed,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        made = tuple(feed.name for feed in harness.feeds if feed.converter)
        if self.feed not in made:
            known = self.feed in (feed.name for feed in harness.feeds)
            text = f"feed {self.feed!r} is made by no converter" if known else f"no feed {self.feed!r}"
            yield "feed", text, made
        yield from not_positive("volts", self.volts)


class TransmitterFault(Fault):
    """A fault of the driver behind a transmitter's contact."""

    contact: str

    __slots__ = ()
    stage: ClassVar[str] = POWER

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.contact,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        transmitters = tuple(talk.tx for link in harness.links for talk in link.talks)
        if self.contact not in transmitters:
            yield "contact", f"no link has its transmitter at {self.contact!r}", transmitters


@dataclass(frozen=True, slots=True)
class DeadTransmitter(TransmitterFault):
    """It stays at 0 V."""

    contact: str
    kind: ClassVar[str] = "dead_transmitter"


@dataclass(frozen=True, slots=True)
class InvertedLevels(TransmitterFault):
    """Mark and space are exchanged: it is positive while idle."""

    contact: str
    kind: ClassVar[str] = "inverted_levels"
