"""Every single fault of the dead stage that can be planted in a harness, and a dead stage run on the simulator's model."""

from __future__ import annotations

import random
from collections.abc import Generator, Iterator
from typing import TypeVar

from benchcheck.checks.kind import Context, all_kinds
from benchcheck.diagnosis.dead import diagnose_dead
from benchcheck.diagnosis.seats import is_tx_and_rx
from benchcheck.harness.buses import pairs
from benchcheck.harness.connector.families import neighbours
from benchcheck.harness.model import Connector, Harness, PartKind, Role
from benchcheck.plan.plan import Plan
from benchcheck.simulator import faults as planted
from benchcheck.simulator.model import BenchModel
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import join, pin_of, ref_of
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.result import Result
from benchcheck.words.squawk import Squawk
from benchcheck.words.step import Stage

T = TypeVar("T")
NO_CAVITIES = ("stud", "splice", "terminals")


def dead_faults(context: Context, rng: random.Random) -> list[planted.Fault]:
    """All of them, in the harness's order; vacant contacts are drawn with `rng`."""
    harness = context.harness
    found: list[planted.Fault] = [*_of_runs(harness), *_of_parts(harness)]
    for connector in harness.connectors.values():
        found += _of_neighbours(context, connector)
        if connector.family not in NO_CAVITIES:
            found += _of_cavities(context, connector, rng)
    return found


def _of_runs(harness: Harness) -> Iterator[planted.Fault]:
    kinds = {Role.BRIDGE: planted.MissingBridge, Role.SHIELD: planted.MissingDrain}
    for run in harness.runs:
        if run.b:
            yield kinds.get(run.role, planted.OpenRun)(run.wire)
        if run.role is Role.CAN_H:
            for other in harness.runs:
                ends = {ref_of(end) for end in run.ends}
                if other.role is Role.CAN_L and other.cable == run.cable and {ref_of(e) for e in other.ends} == ends:
                    yield planted.BusCut((run.wire, other.wire))


def _of_parts(harness: Harness) -> Iterator[planted.Fault]:
    for part in harness.parts:
        if part.kind is PartKind.TERMINATOR:
            yield planted.MissingTerminator(part.ref)
        if part.kind in (PartKind.PROTECTOR, PartKind.SWITCH):
            yield planted.ProtectorOpen(part.ref)
    for bus in harness.buses:
        for place in pairs(harness, bus):
            yield planted.ExtraTerminator((place.high, place.low), 120.0)


def _of_neighbours(context: Context, connector: Connector) -> Iterator[planted.Fault]:
    nets, circuit = context.nets, context.circuit(ALL_OPEN)
    for pair in sorted(neighbours(connector.rows)):
        a, b = join(connector.ref, pair[0]), join(connector.ref, pair[1])
        if nets.net_of(a) is None or nets.net_of(b) is None or nets.together(a, b):
            continue
        if circuit.ohms(a, b) > 1e6:
            yield planted.Short((a, b), 0.4)
        if connector.family not in NO_CAVITIES:
            yield planted.CrossedTxRx((a, b)) if is_tx_and_rx(context, a, b) else planted.SwappedContacts((a, b))


def _of_cavities(context: Context, connector: Connector, rng: random.Random) -> Iterator[planted.Fault]:
    contacts = [join(connector.ref, pin) for pin in connector.contacts]
    vacant = [contact for contact in contacts if context.nets.net_of(contact) is None]
    if len(contacts) - len(vacant) >= 4:
        yield planted.MirroredNumbering(connector.ref)
    for run in context.harness.runs:
        for end in run.ends:
            if (
                vacant
                and ref_of(end) == connector.ref
                and pin_of(end) in connector.contacts
                and run.role is not Role.BRIDGE
            ):
                yield planted.WrongContact(run.wire, end, rng.choice(vacant))


def dead_stage(plan: Plan, context: Context, *faults: planted.Fault, seed: int) -> list[Squawk]:
    """The squawks of a dead stage on a bench with these faults, noise on."""
    model = BenchModel(context.harness, faults, seed)
    results = []
    for step in plan.of_stage(Stage.DEAD):
        judged = _drive(all_kinds()[step.check].measure(step), model, context)
        results.append(Result(step, judged.reading, judged.verdict))
    return _drive(diagnose_dead(context, results), model, context)


def _drive(asking: Generator[Request, Reading, T], model: BenchModel, context: Context) -> T:
    try:
        request = next(asking)
        while True:
            request = asking.send(_read(request, model, context))
    except StopIteration as stop:
        answer: T = stop.value
        return answer


def _read(request: Request, model: BenchModel, context: Context) -> Reading:
    meter = context.meter
    model.set_state(request.state)
    value = model.ohms(request.red, request.black)
    if value > meter.ohm_max:
        return Reading(ReadingState.OVER, "ohm", over_above=meter.ohm_max)
    value -= meter.lead_ohm
    return Reading(ReadingState.VALUE, "ohm", value, meter.ohm_uncertainty(value))
