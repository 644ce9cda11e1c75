"""Our order against a reference solver: the routing library of OR-Tools, on generated harnesses.

    python tests/plan/bench_order.py [SECONDS [HARNESSES]]     60 seconds for the solver and 20 harnesses, if not said

Both get the same task: the pairs of contacts that a harness of 150 to 300 readings wants on a dead open bench, and the
seconds of `plan.cost` from each to each; a way through all of them is sought that costs least, from any pair to any.
The solver starts from its cheapest-arc walk and goes on with guided local search for as long as it is given; ours takes
what it takes. The table shows lead moves and seconds of both (readings left out), and the lower bounds.

OR-Tools is the optional extra `bench`: pip install 'benchcheck[bench]'.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from harness_maker import made

from benchcheck.checks.kind import Context, all_kinds
from benchcheck.plan.bound import least_placements
from benchcheck.plan.cost import is_probed
from benchcheck.plan.field import Field, Sites
from benchcheck.plan.order import arranged, least_seconds
from benchcheck.plan.resolving import with_doubts
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.meter import MeterSpec
from benchcheck.words.step import Stage


@dataclass(frozen=True, slots=True)
class Outcome:
    """One harness: how many pairs, the bounds, and (lead moves, seconds) of both orders."""

    pairs: int
    least_moves: int
    least_s: int
    ours: tuple[int, int]
    our_time_s: float
    theirs: tuple[int, int]


def field_of(seed: int) -> Field:
    """The dead open bench of the made harness number `seed`."""
    harness = made(46 + 2 * seed, 9 + seed // 4, seed)
    context = Context(harness, MeterSpec())
    wanted = with_doubts((step for kind in all_kinds().values() for step in kind.steps(context)), context.meter)
    steps = [step for step in wanted if step.stage is Stage.DEAD and step.state == ALL_OPEN and is_probed(step)]
    zones = {connector.ref: connector.zone for connector in harness.connectors.values()}
    pins = {connector.ref: connector.contacts for connector in harness.connectors.values()}
    sites = Sites({contact for step in steps for contact in (step.red, step.black)}, zones, pins)
    field = Field(sites, alike=True)
    for step in sorted(steps, key=lambda step: sites.pair(step.red, step.black)):
        field.add((step.red, step.black))
    return field


def solved(field: Field, limit_s: int) -> list[int]:
    """The order that the reference solver finds within a time."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    count = len(field)
    # a place that costs nothing to come from or go to makes a round trip of a way with free ends
    costs = [[0] * (count + 1)]
    costs += [[0, *(field.cost(i, j) if i != j else 0 for j in range(count))] for i in range(count)]
    manager = pywrapcp.RoutingIndexManager(count + 1, 1, 0)
    routing = pywrapcp.RoutingModel(manager)
    routing.SetArcCostEvaluatorOfAllVehicles(routing.RegisterTransitMatrix(costs))
    wanted = pywrapcp.DefaultRoutingSearchParameters()
    wanted.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    wanted.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    wanted.time_limit.seconds = limit_s
    solution = routing.SolveWithParameters(wanted)
    order, at = [], routing.Start(0)
    while not routing.IsEnd(at):
        node = manager.IndexToNode(at)
        if node:
            order.append(node - 1)
        at = solution.Value(routing.NextVar(at))
    return order


def measured(field: Field, order: Sequence[int]) -> tuple[int, int]:
    """Lead moves and seconds of an order that holds every pair once."""
    assert sorted(order) == list(range(len(field)))
    pairs = [{field.a[row], field.b[row]} for row in order]
    moves = 2 + sum(2 - len(one & other) for one, other in pairwise(pairs))
    return moves, field.seconds(order)


def compared(seed: int, limit_s: int) -> Outcome:
    field = field_of(seed)
    start = time.perf_counter()
    ours = arranged(field, None)
    took_s = time.perf_counter() - start
    least_moves = least_placements(zip(field.a, field.b, strict=True))
    theirs = measured(field, solved(field, limit_s))
    return Outcome(len(field), least_moves, least_seconds(field), measured(field, ours), took_s, theirs)


def main(limit_s: int = 60, harnesses: int = 20) -> int:
    print(f"solver: {limit_s} s a harness")
    print("harness  pairs  least moves  our moves  its moves  least s  our s  its s  took s")
    worse = 0
    for seed in range(harnesses):
        found = compared(seed, limit_s)
        worse += found.ours[1] > found.theirs[1]
        print(
            f"{seed:7}  {found.pairs:5}  {found.least_moves:11}  {found.ours[0]:9}  {found.theirs[0]:9}"
            f"  {found.least_s:7}  {found.ours[1]:5}  {found.theirs[1]:5}  {found.our_time_s:6.2f}",
            flush=True,
        )
    print(f"ours costs more in {worse} of {harnesses}")
    return worse


if __name__ == "__main__":
    sys.exit(bool(main(*map(int, sys.argv[1:]))))
