"""The harness as it was built: the profile's conductors and parts, with the planted wiring faults.

A conductor is a resistor between the contacts in which it really sits, which a fault may change.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from zlib import crc32

from benchcheck.harness.model import Harness, PartKind, Role, Run
from benchcheck.harness.wire import resistance_ohm
from benchcheck.simulator.faults import (
    BusCut,
    CrossedTxRx,
    ExtraTerminator,
    Fault,
    HighResistance,
    MirroredNumbering,
    MissingBridge,
    MissingDrain,
    MissingTerminator,
    OpenRun,
    ProtectorOpen,
    Short,
    SwappedContacts,
    WrongContact,
)
from benchcheck.simulator.plugs import to_chassis
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import join, lifted

END_OHM = 0.002  # a crimp, or a mated contact: each end of a run (common practice, no source)
DEFAULT_AWG = 22
DEFAULT_LENGTH_M = 3.0
BRIDGE_LENGTH_M = 0.06
BRAID_OHM_PER_M = 0.012  # a light braid or drain whose gauge is not given (common practice, no source)
CLOSED_OHM = 0.01  # the least that a closed protector or switch has
LENGTH_SCATTER = 0.03  # real runs differ from the table by a little
PART_SCATTER = 0.01


@dataclass(frozen=True, slots=True)
class Resistor:
    a: str
    b: str
    ohm: float


@dataclass(frozen=True, slots=True)
class Diode:
    """Conducts from `anode` to `cathode` once 0.7 V drive it, which a meter in ohms does not."""

    anode: str
    cathode: str


@dataclass(frozen=True, slots=True)
class Wiring:
    resistors: tuple[Resistor, ...]
    diodes: tuple[Diode, ...]


@lru_cache(maxsize=1 << 14)  # each state of a bench asks for the same ones
def scatter(seed: int, label: str) -> float:
    """A number in -1..1 that is always the same for the same seed and label; 0 for seed 0."""
    return crc32(f"{seed}/{label}".encode()) / 0xFFFFFFFF * 2 - 1 if seed else 0.0


def landings(harness: Harness, faults: Iterable[Fault]) -> dict[str, list[str]]:
    """Run -> the contacts in which its ends really sit, in the order of the run's own ends."""
    seats = {run.wire: list(run.ends) for run in harness.runs}
    for fault in faults:
        if isinstance(fault, (SwappedContacts, CrossedTxRx)):
            one, other = fault.contacts
            _move(seats, {one: other, other: one})
        elif isinstance(fault, MirroredNumbering):
            connector = harness.connectors[fault.at]
            rows = [[join(fault.at, pin) for pin in row] for row in connector.rows]
            _move(seats, {seat: row[-1 - i] for row in rows for i, seat in enumerate(row)})
        elif isinstance(fault, WrongContact):
            run = harness.run(fault.run)
            if run is not None:
                seats[fault.run][run.ends.index(fault.end)] = fault.to
    return seats


def _move(seats: dict[str, list[str]], moved: dict[str, str]) -> None:
    for ends in seats.values():
        ends[:] = [moved.get(end, end) for end in ends]


def run_ohm(run: Run, ambient_c: float, seed: int = 0) -> float:
    """Resistance of a whole run with both its ends, in ohms."""
    usual_m = BRIDGE_LENGTH_M if run.role is Role.BRIDGE else DEFAULT_LENGTH_M
    length_m = usual_m if run.length_m is None else run.length_m
    length_m *= 1 + LENGTH_SCATTER * scatter(seed, run.wire)
    if run.awg is None and run.role is Role.SHIELD:
        return BRAID_OHM_PER_M * length_m + 2 * END_OHM
    return resistance_ohm(DEFAULT_AWG if run.awg is None else run.awg, length_m, ambient_c) + 2 * END_OHM


def build(
    harness: Harness,
    faults: Sequence[Fault] = (),
    *,
    state: BenchState = ALL_OPEN,
    seed: int = 0,
) -> Wiring:
    """What conducts between the contacts of the harness, no unit plugged.

    state  says which run ends were taken off (each lands on a lug of its name), which protectors are pulled and
           switches off, and what plugs and clips join to chassis
    """
    lifted_ends, opened = state.lifted, state.opened
    gone = {f.run for f in faults if isinstance(f, (OpenRun, MissingBridge, MissingDrain))}
    gone.update(run for f in faults if isinstance(f, BusCut) for run in f.runs)
    added_ohm = {f.run: f.ohm for f in faults if isinstance(f, HighResistance)}
    seats = landings(harness, faults)
    resistors: list[Resistor] = []
    for run in harness.wired_runs:
        if run.wire in gone or not run.b:
            continue
        ends = []
        for nominal, seat in zip(run.ends, seats[run.wire], strict=True):
            lug = lifted(run.wire, nominal)
            ends.append(lug if lug in lifted_ends else seat)
        ohm = run_ohm(run, harness.ambient_c, seed) + added_ohm.get(run.wire, 0.0)
        resistors.append(Resistor(ends[0], ends[1], ohm))
    diodes: list[Diode] = []
    missing = {f.part for f in faults if isinstance(f, (MissingTerminator, ProtectorOpen))} | opened
    for part in harness.parts:
        if part.ref in missing:
            continue
        if part.kind is PartKind.DIODE:
            diodes.append(Diode(part.a, part.b))
        elif part.kind in (PartKind.RESISTOR, PartKind.TERMINATOR):
            spread = min(part.tolerance_percent / 100, PART_SCATTER)
            resistors.append(Resistor(part.a, part.b, max(part.ohm * (1 + spread * scatter(seed, part.ref)), 1e-3)))
        elif part.kind.conducts_at_rest:  # no coil is modelled: a relay stays open
            resistors.append(Resistor(part.a, part.b, max(part.ohm, CLOSED_OHM)))
    resistors += [Resistor(*joint) for joint in to_chassis(harness, state, seed)]
    for fault in faults:
        if isinstance(fault, (Short, ExtraTerminator)):
            resistors.append(Resistor(fault.contacts[0], fault.contacts[1], max(fault.ohm, 1e-3)))
    return Wiring(tuple(resistors), tuple(diodes))
