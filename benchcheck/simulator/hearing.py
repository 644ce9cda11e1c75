"""Who hears whom: decided by the wiring as it was built, never by the profile."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.harness.buses import wire_contacts
from benchcheck.harness.model import Bus, Harness
from benchcheck.harness.nets import Groups
from benchcheck.simulator.circuit import Network
from benchcheck.simulator.power import PowerSolution
from benchcheck.simulator.units import DRIVER_OHM, LOW_OHM, Transmitter, UnitCircuit
from benchcheck.simulator.wiring import Wiring
from benchcheck.words.contact import contact_key, ref_of

# What a receiver surely takes for mark and for space: the thresholds of real parts (TRS3221E data sheet).
MARK_V, SPACE_V = 0.6, 2.4
# Without any terminator the lines fall back too slowly for the bits (common practice, no source).
UNTERMINATED_OHM = 1000.0


@dataclass(frozen=True, slots=True)
class Driven:
    """A transmitter that moves the wire under a tap, and by how many volts; `inverted`: mark and space are exchanged."""

    transmitter: Transmitter
    swing_v: float

    @property
    def inverted(self) -> bool:
        return self.transmitter.idle_v > 0


class Hearing:
    """Answers for one bench state; cheap to ask again."""

    def __init__(
        self, harness: Harness, wiring: Wiring, units: UnitCircuit, dead: Network, solution: PowerSolution | None
    ) -> None:
        self._harness = harness
        self._units = units
        self._dead = dead
        self._solution = solution
        self._joined: Groups[str] = Groups()
        for resistor in (*wiring.resistors, *units.joints):
            if resistor.ohm < LOW_OHM:
                self._joined.join(resistor.a, resistor.b)
        self._on_bus: dict[str, frozenset[str]] = {}
        self._at_tap: dict[tuple[str, str], tuple[Driven, ...]] = {}

    def joined(self, a: str, b: str) -> bool:
        """Whether a signal passes between two nodes: nothing but wire in the way."""
        return a == b or self._joined.together(a, b)

    def on_bus(self, bus: Bus) -> frozenset[str]:
        """Powered units that share both wires with the adapter of `bus`, on wires that can carry bits at all."""
        if bus.name not in self._on_bus:
            self._on_bus[bus.name] = self._find_on_bus(bus)
        return self._on_bus[bus.name]

    def at_tap(self, contact: str, ground: str) -> tuple[Driven, ...]:
        """The transmitters that move `contact` against `ground` enough to be received."""
        key = (contact, ground)
        if key not in self._at_tap:
            self._at_tap[key] = self._find_at_tap(contact, ground)
        return self._at_tap[key]

    def _find_on_bus(self, bus: Bus) -> frozenset[str]:
        ends = adapter_contacts(self._harness, bus)
        if ends is None or self._solution is None:
            return frozenset()
        high, low = ends
        grounds = [self._harness.chassis, *(feed.ground for feed in self._harness.feeds)]
        feeds = [feed.source for feed in self._harness.feeds]
        # CAN-H to ground, CAN-L to a feed, or the two together: lost. CAN-L to ground or CAN-H to a feed may go on.
        lost = (
            self.joined(high, low)
            or any(self.joined(high, ground) for ground in grounds)
            or any(self.joined(low, feed) for feed in feeds)
            or self._dead.ohms(high, low) > UNTERMINATED_OHM
        )
        if lost:
            return frozenset()
        return frozenset(
            port.unit
            for port in self._units.can
            if port.unit in self._solution.powered and self.joined(port.high, high) and self.joined(port.low, low)
        )

    def _find_at_tap(self, contact: str, ground: str) -> tuple[Driven, ...]:
        if self._solution is None:
            return ()
        network = self._solution.network
        if not network.together(contact, ground):
            return ()
        idle_v = self._solution.volts[contact] - self._solution.volts[ground]
        found: list[Driven] = []
        for transmitter in self._units.transmitters:
            if transmitter.unit not in self._solution.powered or not transmitter.idle_v:
                continue
            gain = network.transfer_ohm((transmitter.node, transmitter.ground), (contact, ground)) / DRIVER_OHM
            swing_v = 2 * abs(transmitter.idle_v) * gain
            # two that drive one wire hold it near 0 V when they disagree: no space, nothing received
            low_v, high_v = idle_v, idle_v + swing_v
            if transmitter.idle_v > 0:
                low_v, high_v = idle_v - swing_v, idle_v
            if low_v < MARK_V and high_v > SPACE_V:
                found.append(Driven(transmitter, swing_v))
        return tuple(found)


def adapter_contacts(harness: Harness, bus: Bus) -> tuple[str, str] | None:
    """CAN-H and CAN-L at the connector where the adapter of `bus` is joined, by the profile."""
    sides = []
    for side in wire_contacts(harness, bus):
        here = sorted((contact for contact in side if ref_of(contact) == bus.adapter_at), key=contact_key)
        if not here:
            return None
        sides.append(here[0])
    return sides[0], sides[1]
