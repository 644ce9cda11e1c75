"""What the open squawks already explain: the network as it is known to be, faults and all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from benchcheck.checks.kind import Context
from benchcheck.diagnosis.candidates import open_run
from benchcheck.diagnosis.hypothesis import OPEN_OHM, SHORT_OHM, Hypothesis, apply_all
from benchcheck.diagnosis.seats import mirrored, off_by_one, rows_exchanged, swap
from benchcheck.harness.buses import pairs
from benchcheck.harness.circuit import Circuit, Edge, enabled_by
from benchcheck.harness.model import Bus, Harness, Role
from benchcheck.harness.power import unit_contacts
from benchcheck.words.bench_state import BenchState
from benchcheck.words.squawk import Squawk, SquawkKind

# A way along the wire of a bus stays far below this; a way across a terminator lies above it.
BUS_PATH_OHM = 25.0
BUS_SHORT_OHM = 10.0
INPUT_OHM = 2000.0


def fault_of(context: Context, squawk: Squawk) -> Hypothesis | None:
    """The change of the network that a squawk of the dead stage stands for; None for other kinds."""
    where, harness = squawk.where, context.harness
    match squawk.kind:
        case SquawkKind.OPEN_RUN | SquawkKind.MISSING_BRIDGE | SquawkKind.MISSING_DRAIN | SquawkKind.WRONG_CONTACT:
            run = harness.run(where[0])
            if run is None:
                return None
            fault = open_run(run)
            return replace(fault, remove=fault.remove | enabled_by(harness, run))
        case SquawkKind.SWAPPED_CONTACTS | SquawkKind.CROSSED_TX_RX:
            return swap(context, where[0], where[1])
        case SquawkKind.MIRRORED_NUMBERING:
            return mirrored(context, harness.connectors[where[0]])
        case SquawkKind.ROWS_EXCHANGED:
            return rows_exchanged(context, harness.connectors[where[0]])
        case SquawkKind.OFF_BY_ONE:
            return off_by_one(context, harness.connectors[where[0]], where[1], where[2])
        case SquawkKind.SHORT:
            return Hypothesis(squawk.kind, where, squawk.text, add=(Edge("short", where[0], where[1], SHORT_OHM),))
        case SquawkKind.BUS_CUT | SquawkKind.MISSING_TERMINATOR | SquawkKind.PROTECTOR_OPEN:
            return Hypothesis(squawk.kind, where, squawk.text, remove=frozenset(where))
        case _:
            return None


class KnownFaults:
    """The harness with the faults of the open squawks in it."""

    def __init__(self, context: Context, squawks: Iterable[Squawk]) -> None:
        self._context = context
        self.squawks = tuple(squawks)
        self._faults = [fault for squawk in self.squawks if (fault := fault_of(context, squawk)) is not None]
        self._circuits: dict[BenchState, Circuit] = {}
        self._plans: dict[BenchState, Circuit] = {}

    def circuit(self, state: BenchState) -> Circuit:
        """The network as it is known to be."""
        if state not in self._circuits:
            self._circuits[state] = apply_all(self._faults, self._planned(state))
        return self._circuits[state]

    def whole_circuit(self, state: BenchState) -> Circuit:
        """The same with the inputs and terminators of the plugged units in it, for readings in ohms."""
        return apply_all(self._faults, self._context.circuit(state))

    def _planned(self, state: BenchState) -> Circuit:
        """The network without the inputs of units: kilohms to ground join nothing in the sense asked here."""
        if state not in self._plans:
            edges = self._context.circuit(state).edges.values()
            self._plans[state] = Circuit(edge for edge in edges if edge.ohm < INPUT_OHM)
        return self._plans[state]

    def joined(self, a: str, b: str, state: BenchState) -> bool:
        """Whether two contacts conduct, faults and all."""
        return self.circuit(state).ohms(a, b) < OPEN_OHM

    def untouched(self, contact: str, state: BenchState) -> bool:
        """Whether exactly those contacts conduct to this one that should."""
        return self.circuit(state).component(contact) == self._planned(state).component(contact)

    def grounded(self, contact: str, state: BenchState) -> bool:
        """Whether a contact reaches chassis, or doesn't, as planned: a lost return makes any level meaningless."""
        chassis = self._context.harness.chassis
        planned = self._planned(state).ohms(contact, chassis) < OPEN_OHM
        return planned == self.joined(contact, chassis, state)

    def has(self, kind: SquawkKind, name: str) -> bool:
        """Whether there is an open squawk of this kind about `name`."""
        return any(squawk.kind is kind and name in squawk.where for squawk in self.squawks)

    def bus_reaches(self, unit: str, bus_name: str, state: BenchState) -> bool:
        """Whether both wires of a bus run from the adapter to a unit, each to its own kind."""
        harness = self._context.harness
        bus = next(b for b in harness.buses if b.name == bus_name)
        return bus_reaches(harness, self.circuit(state), bus, unit)


def bus_reaches(harness: Harness, circuit: Circuit, bus: Bus, unit: str) -> bool:
    """Whether both wires of a bus run from the adapter to a unit in this network, each to its own kind."""
    here = next((place for place in pairs(harness, bus) if place.connector == bus.adapter_at), None)
    if here is None or unit not in harness.units:
        return False
    for contact, role in ((here.high, Role.CAN_H), (here.low, Role.CAN_L)):
        own = unit_contacts(harness, harness.units[unit], role)
        if not any(circuit.ohms(contact, end) < BUS_PATH_OHM for end in own):
            return False
    return circuit.ohms(here.high, here.low) > BUS_SHORT_OHM
