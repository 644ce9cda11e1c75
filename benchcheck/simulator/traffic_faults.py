"""Faults of what units say, on buses and lines: the live stage shows them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from benchcheck.harness.model import Harness, Message
from benchcheck.simulator.fault import LIVE, Complaint, Fault, UnitFault, not_positive
from benchcheck.words.signal import Signal


class TalkerFault(UnitFault):
    """A fault of what a unit says: only of units that say anything, on a bus or on a line."""

    __slots__ = ()

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from UnitFault.complaints(self, harness)
        talkers = {unit for bus in harness.buses for unit in bus.talkers}
        talkers |= {talk.sender for link in harness.links for talk in link.talks}
        if self.unit in harness.units and self.unit not in talkers:
            yield "unit", f"{self.unit} says nothing on any bus or line", tuple(sorted(talkers))


@dataclass(frozen=True, slots=True)
class SilentUnit(TalkerFault):
    kind: ClassVar[str] = "silent_unit"
    stage: ClassVar[str] = LIVE


@dataclass(frozen=True, slots=True)
class LateUnit(TalkerFault):
    delay_s: float
    kind: ClassVar[str] = "late_unit"
    stage: ClassVar[str] = LIVE

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from TalkerFault.complaints(self, harness)
        yield from not_positive("delay_s", self.delay_s)


@dataclass(frozen=True, slots=True)
class IntermittentUnit(TalkerFault):
    on_s: float
    off_s: float
    kind: ClassVar[str] = "intermittent_unit"
    stage: ClassVar[str] = LIVE

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        yield from TalkerFault.complaints(self, harness)
        yield from not_positive("on_s", self.on_s)
        yield from not_positive("off_s", self.off_s)


@dataclass(frozen=True, slots=True)
class WrongBaud(Fault):
    link: str
    sender: str
    baud: int
    kind: ClassVar[str] = "wrong_baud"
    stage: ClassVar[str] = LIVE

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.link,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        links = {link.name: link for link in harness.links}
        if self.link not in links:
            yield "link", f"no link {self.link!r}", tuple(links)
            return
        senders = tuple(talk.sender for talk in links[self.link].talks)
        if self.sender not in senders:
            yield "sender", f"{self.sender!r} says nothing on link {self.link}", senders
        yield from not_positive("baud", self.baud)


@dataclass(frozen=True, slots=True)
class ExchangedTalkers(Fault):
    """What a unit should say on one link another one says, and the other way round: two outputs set up wrongly."""

    first: str
    first_sender: str
    second: str
    second_sender: str
    kind: ClassVar[str] = "exchanged_talkers"
    stage: ClassVar[str] = LIVE

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.first, self.first_sender, self.second, self.second_sender)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        talks = {(link.name, talk.sender): link for link in harness.links for talk in link.talks}
        found = []
        for key, link, sender in (
            ("first", self.first, self.first_sender),
            ("second", self.second, self.second_sender),
        ):
            if (link, sender) in talks:
                found.append(talks[link, sender])
            else:
                yield key, f"{sender!r} says nothing on link {link!r}", tuple(name for name, _ in talks)
        if len(found) == 2 and len({(link.protocol, link.baud, link.framing) for link in found}) > 1:
            yield "second", "the two links have another protocol or speed, so each would be garbage", ()


@dataclass(frozen=True, slots=True)
class UnexpectedMessage(Fault):
    bus: str
    can_id: int
    period_s: float
    kind: ClassVar[str] = "unexpected_message"
    stage: ClassVar[str] = LIVE

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.bus,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        buses = tuple(bus.name for bus in harness.buses)
        if self.bus not in buses:
            yield "bus", f"no bus {self.bus!r}", buses
        if not 0 <= self.can_id < 1 << 29:
            yield "can_id", f"{self.can_id} is no CAN identifier", ()
        yield from not_positive("period_s", self.period_s)


@dataclass(frozen=True, slots=True)
class SignalFault(Fault):
    """A fault of one value that a unit sends, by the names of the bus's message database."""

    bus: str
    message: str
    signal: str
    stage: ClassVar[str] = LIVE

    def where(self, harness: Harness) -> tuple[str, ...]:
        found = self.found(harness)
        sender = (found[0].sender,) if found is not None and found[0].sender else ()
        return (*sender, self.bus, f"{self.message}.{self.signal}")

    def found(self, harness: Harness) -> tuple[Message, Signal] | None:
        """The message and the signal; None where the harness has none of these names."""
        for bus in harness.buses:
            for message in bus.messages if bus.name == self.bus else ():
                for signal in message.signals if message.name == self.message else ():
                    if signal.name == self.signal:
                        return message, signal
        return None

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        buses = {bus.name: bus for bus in harness.buses}
        if self.bus not in buses:
            yield "bus", f"no bus {self.bus!r}", tuple(buses)
            return
        messages = {message.name: message for message in buses[self.bus].messages}
        if self.message not in messages:
            yield "message", f"no message {self.message!r} on {self.bus}", tuple(messages)
            return
        signals = tuple(signal.name for signal in messages[self.message].signals)
        if self.signal not in signals:
            yield "signal", f"no signal {self.signal!r} in message {self.message}", signals


@dataclass(frozen=True, slots=True)
class StuckSignal(SignalFault):
    """Its value doesn't move: a sensor that is out, behind a unit that sends on."""

    kind: ClassVar[str] = "stuck_signal"


@dataclass(frozen=True, slots=True)
class AbsurdSignal(SignalFault):
    """It has this value all the time: a sensor that is open or shorted."""

    value: float
    kind: ClassVar[str] = "absurd_signal"
