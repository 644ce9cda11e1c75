"""A dead bench solved on its own: nodal analysis with NumPy, none of the package's networks in it.

What the locator is measured by: wires off by up to 20 percent of their stated length, a scatter at every contact, unit inputs
that are not those of the unit files, a meter with noise, and faults that the locator's list doesn't have.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from benchcheck.harness.model import Harness, PartKind, PathKind, Role
from benchcheck.simulator import faults as planted
from benchcheck.words.bench_state import BenchState
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request

# Copper at 20 C, IACS: 1/58 ohm mm2/m (IEC 60028, as the handbook page quotes it); gauge by ASTM B258: 92 ** ((36 - n) / 39).
COPPER_OHM_MM2_PER_M = 1 / 58
LENGTH_OFF = 0.20
PART_OFF = 0.05  # of terminators and resistors; their own tolerance is 10 percent
INPUT_OFF = (0.4, 2.5)  # what a unit's input is, times what its file says
CONTACT_OHM = (0.0, 0.03)  # a crimp with its mated contact, each (common practice, no source)
LEAKAGE_OHM = (60e6, 2e9)  # damp dust from a net to chassis: beyond what the meter shows


@dataclass(frozen=True)
class Odd:
    """A fault that the locator's list doesn't have: conductors that sit elsewhere, and resistors that should not be there.

    seats  (run, its end) -> where that end really is; empty: nowhere
    joints (one contact, the other, ohms)
    series run -> ohms more than it should have
    parts  part -> ohms that it has instead
    where  the runs that are at fault, or, for a fault that the list has (`kind`), the places that a squawk names
    """

    name: str
    where: tuple[str, ...]
    seats: dict[tuple[str, str], str] = field(default_factory=dict)
    joints: tuple[tuple[str, str, float], ...] = ()
    series: dict[str, float] = field(default_factory=dict)
    parts: dict[str, float] = field(default_factory=dict)
    kind: str = ""


AnyFault = planted.Fault | Odd


def _area_mm2(awg: int) -> float:
    diameter_mm = 0.127 * 92 ** ((36 - awg) / 39)
    return math.pi * diameter_mm**2 / 4


class NodalBench:
    """One harness as built, with faults, off in its own way by `seed`. `asked` counts readings."""

    def __init__(self, harness: Harness, faults: Sequence[AnyFault], seed: int, meter: MeterSpec | None = None) -> None:
        self.harness, self.meter = harness, meter or MeterSpec()
        self.asked = 0
        self._noise = random.Random(f"meter {seed}")
        self._built = random.Random(f"built {seed}")
        self._faults = tuple(faults)
        self._runs = self._wires()
        self._parts = self._resistors()
        self._inputs = self._unit_insides()
        self._plug_scatter = 1 + 0.01 * self._built.uniform(-1, 1)
        self._solved: dict[BenchState, _Solved] = {}

    # --- what was built ---------------------------------------------------------------------------------------

    def _wires(self) -> list[tuple[str, list[str], list[str], float]]:
        """wire, its ends by the table, where they really sit, ohms."""
        seats: dict[tuple[str, str], str] = {}
        gone: set[str] = set()
        more: dict[str, float] = {}
        for fault in self._faults:
            if isinstance(fault, Odd):
                seats |= fault.seats
                more |= fault.series
            elif isinstance(fault, (planted.OpenRun, planted.MissingBridge, planted.MissingDrain)):
                gone.add(fault.run)
            elif isinstance(fault, planted.BusCut):
                gone |= set(fault.runs)
            elif isinstance(fault, planted.HighResistance):
                more[fault.run] = fault.ohm
        built = []
        for run in self.harness.wired_runs:
            length_m = run.length_m if run.length_m is not None else (0.1 if run.role is Role.BRIDGE else 3.0)
            length_m *= 1 + LENGTH_OFF * self._built.uniform(-1, 1)
            ohm = COPPER_OHM_MM2_PER_M * length_m / _area_mm2(run.awg if run.awg is not None else 22)
            ohm += sum(self._built.uniform(*CONTACT_OHM) for _ in "ab") + more.get(run.wire, 0.0)
            if not run.b or run.wire in gone:
                continue
            real = [self._seat(run.wire, end, seats) for end in run.ends]
            if all(real):
                built.append((run.wire, list(run.ends), real, ohm))
        return built

    def _seat(self, wire: str, end: str, seats: dict[tuple[str, str], str]) -> str:
        for fault in self._faults:
            if isinstance(fault, (planted.SwappedContacts, planted.CrossedTxRx)) and end in fault.contacts:
                end = fault.contacts[1 - fault.contacts.index(end)]
            elif isinstance(fault, planted.MirroredNumbering) and end.startswith(fault.at + "-"):
                pin = end.partition("-")[2]
                for row in self.harness.connectors[fault.at].rows:
                    if pin in row:
                        end = f"{fault.at}-{row[len(row) - 1 - row.index(pin)]}"
                        break
            elif isinstance(fault, planted.WrongContact) and fault.run == wire and fault.end == end:
                end = fault.to
        return seats.get((wire, end), end)

    def _resistors(self) -> list[tuple[str, str, str, float]]:
        missing = {f.part for f in self._faults if isinstance(f, (planted.MissingTerminator, planted.ProtectorOpen))}
        fitted = {ref: ohm for f in self._faults if isinstance(f, Odd) for ref, ohm in f.parts.items()}
        found = []
        for part in self.harness.parts:
            off = 1 + PART_OFF * self._built.uniform(-1, 1)
            if part.ref in missing or part.kind in (PartKind.RELAY, PartKind.DIODE):
                continue
            switching = part.kind in (PartKind.PROTECTOR, PartKind.SWITCH)
            found.append(
                (part.ref, part.a, part.b, max(fitted.get(part.ref, part.ohm) * (1 if switching else off), 0.005))
            )
        for number, fault in enumerate(self._faults):
            if isinstance(fault, (planted.Short, planted.ExtraTerminator)):
                found.append((f"fault {number}", *fault.contacts, max(fault.ohm, 1e-3)))
            elif isinstance(fault, Odd):
                found += [(f"fault {number} {turn}", *joint) for turn, joint in enumerate(fault.joints)]
        return found

    def _unit_insides(self) -> list[tuple[str, str, float]]:
        found = []
        for unit in self.harness.units.values():
            for path in unit.type.paths:
                a, b = unit.mate(path.a), unit.mate(path.b) if path.b else ""
                if not a or not b or path.enabled_by or path.kind in (PathKind.CONVERTER, PathKind.DIODE):
                    continue
                times = self._built.uniform(*INPUT_OFF) if path.kind is PathKind.INPUT else 1.0
                found.append((a, b, max(path.ohm, 0.02) * times))
        return found

    # --- what a meter shows -----------------------------------------------------------------------------------

    def read(self, request: Request) -> Reading:
        """Ohms between two contacts in a bench state, leads taken off."""
        self.asked += 1
        meter = self.meter
        state = replace(request.state, breakout=frozenset(), supply_on=False)
        if state not in self._solved:
            self._solved[state] = _Solved(self._resistors_in(state))
        true_ohm = self._solved[state].ohms(request.red, request.black)
        true_ohm = 1 / (1 / true_ohm + 1 / self._built_leak(request)) if true_ohm else 0.0
        if true_ohm > meter.ohm_max:
            return Reading(ReadingState.OVER, "ohm", over_above=meter.ohm_max)
        off = meter.meter_ohm_uncertainty(true_ohm) * self._noise.uniform(-0.5, 0.5)
        value = true_ohm + off + meter.lead_scatter_ohm * self._noise.uniform(-0.8, 0.8)
        return Reading(ReadingState.VALUE, "ohm", value, meter.ohm_uncertainty(value))

    def _built_leak(self, request: Request) -> float:
        low, high = (math.log(end) for end in LEAKAGE_OHM)
        place = random.Random(f"{sorted((request.red, request.black))} {self._plug_scatter}")
        return math.exp(place.uniform(low, high))

    def _resistors_in(self, state: BenchState) -> Iterable[tuple[str, str, float]]:
        for wire, ends, real, ohm in self._runs:
            at = [
                f"{wire}@{end}" if f"{wire}@{end}" in state.lifted else seat
                for end, seat in zip(ends, real, strict=True)
            ]
            yield at[0], at[1], ohm
        for ref, a, b, ohm in self._parts:
            if ref not in state.opened:
                yield a, b, ohm
        for a, b, ohm in self._inputs:
            if {a.partition("-")[0], b.partition("-")[0]} <= state.on_unit:
                yield a, b, ohm
        chassis = self.harness.chassis
        joined = set(state.links)
        for ref in state.plugs:
            joined |= {f"{ref}-{pin}" for pin in self.harness.connectors[ref].contacts}
        for contact in sorted(joined - {chassis}):
            yield contact, chassis, 0.05 * self._plug_scatter
        for ref in sorted(state.coded):
            for index, pin in enumerate(self.harness.connectors[ref].contacts):
                # IEC 60063 E48 (from memory): three figures of 10 ** (n / 48)
                e48 = round(100 * 10 ** (index % 48 / 48)) * 10 ** (index // 48)
                yield f"{ref}-{pin}", chassis, e48 * self._plug_scatter


class _Solved:
    """Resistances by the conductance matrix of each connected piece: R = Gaa + Gbb - 2 Gab of its inverse, one node grounded."""

    def __init__(self, resistors: Iterable[tuple[str, str, float]]) -> None:
        self._at: dict[str, list[tuple[str, float]]] = {}
        for a, b, ohm in resistors:
            if a != b:
                self._at.setdefault(a, []).append((b, 1 / ohm))
                self._at.setdefault(b, []).append((a, 1 / ohm))
        self._piece: dict[str, tuple[dict[str, int], np.ndarray]] = {}

    def ohms(self, a: str, b: str) -> float:
        if a == b:
            return 0.0
        if a not in self._at or b not in self._at:
            return math.inf
        if a not in self._piece:
            self._solve(a)
        number, inverse = self._piece[a]
        if b not in number:
            return math.inf
        i, j = number[a], number[b]
        return float(inverse[i, i] + inverse[j, j] - 2 * inverse[i, j])

    def _solve(self, start: str) -> None:
        number, todo = {start: 0}, [start]
        while todo:
            for other, _ in self._at[todo.pop()]:
                if other not in number:
                    number[other] = len(number)
                    todo.append(other)
        matrix = np.zeros((len(number), len(number)))
        for contact, row in number.items():
            for other, siemens in self._at[contact]:
                matrix[row, row] += siemens
                matrix[row, number[other]] -= siemens
        inverse = np.zeros_like(matrix)
        inverse[1:, 1:] = np.linalg.inv(matrix[1:, 1:])
        for contact in number:
            self._piece[contact] = (number, inverse)
