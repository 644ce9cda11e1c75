"""Every single short that isolation is asked of, and whether a plan sees it on the simulator's model."""

from __future__ import annotations

from collections.abc import Generator, Iterator

from model_bench import shipped

from benchcheck.checks.kind import Context, Judged, all_kinds
from benchcheck.harness.connector.families import neighbours
from benchcheck.harness.model import Harness, PartKind
from benchcheck.plan.plan import Plan, make_plan
from benchcheck.simulator.faults import Short
from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.names import all_contacts
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import join
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome
from benchcheck.words.ways import Ways

METER = MeterSpec()


def planned(profile: str, ways: Ways) -> tuple[Harness, Plan, Context]:
    harness = shipped(profile)[0]
    return harness, make_plan(harness, METER, ways), Context(harness, METER, ways)


def read(model: BenchModel, request: Request) -> Reading:
    """What the meter of the model's bench shows, leads taken off."""
    model.set_state(request.state)
    value = model.ohms(request.red, request.black)
    if value > METER.ohm_max:
        return Reading(ReadingState.OVER, "ohm", over_above=METER.ohm_max)
    value -= METER.lead_ohm
    return Reading(ReadingState.VALUE, "ohm", value, METER.ohm_uncertainty(value))


def judged(model: BenchModel, step: Step) -> Judged:
    measuring: Generator[Request, Reading, Judged] = all_kinds()[step.check].measure(step)
    try:
        request = next(measuring)
        while True:
            request = measuring.send(read(model, request))
    except StopIteration as stop:
        answer: Judged = stop.value
        return answer


def shorts(harness: Harness) -> Iterator[tuple[str, str, str]]:
    """Two contacts and why they are asked of. From the profile alone, apart from the code that plans."""
    wired = {end for run in harness.runs for end in run.ends} | {e for p in harness.parts for e in (p.a, p.b)}
    for connector in harness.connectors.values():
        for one, other in sorted(neighbours(connector.rows)):
            a, b = join(connector.ref, one), join(connector.ref, other)
            if a in wired and b in wired:
                yield a, b, "neighbours"
    nets = joined_by_wire(harness)
    shields = {run.wire: run.a for run in harness.runs if run.role == "shield"}
    for net in dict.fromkeys(nets.values()):
        contact = min(net)
        yield contact, harness.chassis, "chassis"
        for feed in harness.feeds:
            yield contact, feed.source, "feed"
    for run in harness.runs:
        if run.role != "shield" and run.shield:
            yield run.a, shields[run.shield], "shield"
        for other in harness.runs:
            if run.cable and run.wire < other.wire and run.cable == other.cable:
                yield run.a, other.a, "cable"


def joined_by_wire(harness: Harness) -> dict[str, frozenset[str]]:
    """Contact -> all that runs join to it, by walking along them."""
    at: dict[str, set[str]] = {}
    for run in harness.runs:
        for end in run.ends:
            at.setdefault(end, set()).update(run.ends)
    found: dict[str, frozenset[str]] = {}
    for start in sorted(at):
        if start not in found:
            seen, todo = {start}, [start]
            while todo:
                for end in at[todo.pop()] - seen:
                    seen.add(end)
                    todo.append(end)
            found |= dict.fromkeys(seen, frozenset(seen))
    return found


class Seeing:
    """Which steps of a plan a short could show in, and whether it does."""

    def __init__(self, harness: Harness, plan: Plan) -> None:
        self._harness = harness
        self._steps = [s for s in plan.of_stage(Stage.DEAD) if s.quantity is Quantity.OHMS]
        self._sound = BenchModel(harness, seed=0)
        self._contacts = sorted(all_contacts(harness))
        self._pieces: dict[BenchState, dict[str, int]] = {}

    def _piece(self, state: BenchState) -> dict[str, int]:
        """Contact -> number of the piece that it conducts to in the sound harness, by the model's own network."""
        if state not in self._pieces:
            self._sound.set_state(state)
            network, found = self._sound._dead_network(), {}
            firsts: list[str] = []
            for contact in [*self._contacts, *sorted(state.lifted)]:
                number = next((n for n, first in enumerate(firsts) if network.together(contact, first)), len(firsts))
                if number == len(firsts):
                    firsts.append(contact)
                found[contact] = number
            self._pieces[state] = found
        return self._pieces[state]

    def candidates(self, a: str, b: str) -> Iterator[Step]:
        """The steps at whose leads the two shorted pieces lie: no other reading changes by it."""
        for step in self._steps:
            piece = self._piece(step.state)
            ends, leads = {piece[a], piece[b]}, {piece[step.red], piece[step.black]}
            if ends == leads or (len(ends) == 1 and ends <= leads):
                yield step

    def is_seen(self, a: str, b: str, ohm: float, seed: int) -> str:
        """The first step that fails with this short in the harness; empty where none does."""
        model = BenchModel(self._harness, [Short((a, b), ohm)], seed=seed)
        for step in self.candidates(a, b):
            if judged(model, step).verdict.outcome is Outcome.FAIL:
                return step.id
        return ""


def by_design(harness: Harness, a: str, b: str, ohm: float) -> bool:
    """Whether a short of so many ohms changes nothing that a meter could find: planned wire or parts join the two with less.

    Both sides of one protector or switch are told apart while it is out.
    """
    nets = joined_by_wire(harness)
    for part in harness.parts:
        sides = {nets.get(part.a), nets.get(part.b)}
        if part.kind in (PartKind.PROTECTOR, PartKind.SWITCH) and sides == {nets.get(a), nets.get(b)}:
            return False
    planned_ohm = BenchModel(harness, seed=0).true_ohms(a, b)
    return planned_ohm < 0.2 * ohm or planned_ohm < 3.0
