"""When a unit says something: after it has started, unless it is silent, late or has pauses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from benchcheck.harness.model import Bus, Harness, Message
from benchcheck.simulator.faults import Fault, IntermittentUnit, LateUnit, SilentUnit
from benchcheck.simulator.said import said_on

BOOT_PART = 0.7  # of the longest start that the unit file allows
EVENT_PERIOD_S = 2.0  # of a message without a period of its own
DOMINANT_PART = 0.5  # of a frame's bits (common practice, no source)


@dataclass(frozen=True, slots=True)
class Habit:
    """How a unit talks: `boot_s` from its power to its first word, and pauses of `off_s` after each `on_s`."""

    boot_s: float
    delay_s: float = 0.0
    silent: bool = False
    on_s: float = 0.0
    off_s: float = 0.0

    def talks(self, since_power_s: float) -> bool:
        """Whether it says what is due at this time after its power came."""
        after = since_power_s - self.boot_s - self.delay_s
        if self.silent or after < 0:
            return False
        return not self.off_s or after % (self.on_s + self.off_s) < self.on_s

    def listens(self, since_power_s: float) -> bool:
        """Whether its controller is up, so that it acknowledges what others say."""
        return since_power_s >= self.boot_s

    @property
    def part(self) -> float:
        """The part of the time for which it talks."""
        if self.silent:
            return 0.0
        return self.on_s / (self.on_s + self.off_s) if self.off_s else 1.0


def habits(harness: Harness, faults: Iterable[Fault]) -> dict[str, Habit]:
    """Unit -> how it talks, with the planted faults."""
    faults = tuple(faults)
    found: dict[str, Habit] = {}
    for ref, unit in harness.units.items():
        mine = [fault for fault in faults if getattr(fault, "unit", None) == ref]
        pauses = next((fault for fault in mine if isinstance(fault, IntermittentUnit)), None)
        found[ref] = Habit(
            unit.type.boot_s * BOOT_PART,
            sum(fault.delay_s for fault in mine if isinstance(fault, LateUnit)),
            any(isinstance(fault, SilentUnit) for fault in mine),
            pauses.on_s if pauses else 0.0,
            pauses.off_s if pauses else 0.0,
        )
    return found


def frame_bits(message: Message) -> int:
    """About how many bits a frame of `message` takes, a middling number of stuff bits included."""
    plain = (67 if message.extended else 47) + 8 * message.length
    return plain + plain // 20


def can_duty(harness: Harness, faults: Iterable[Fault]) -> dict[str, float]:
    """Unit -> the part of the time for which its frames hold a bus dominant."""
    talk = habits(harness, faults)
    duty: dict[str, float] = {}
    for bus in harness.buses:
        for message in said_on(bus):
            share = _load(bus, message) * DOMINANT_PART * (talk[message.sender].part if message.sender in talk else 0)
            duty[message.sender] = duty.get(message.sender, 0.0) + share
    return {unit: min(part, 0.5) for unit, part in duty.items()}


def _load(bus: Bus, message: Message) -> float:
    return frame_bits(message) / (message.period_s or EVENT_PERIOD_S) / bus.bitrate
