"""Small sets of steps for tests of the order, and every order of them tried."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from hypothesis import strategies as st

from benchcheck.plan.cost import CONNECTOR_S, MOVE_S, ZONE_S, Effort, effort
from benchcheck.plan.leads import LeadRule
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.step import Quantity, Stage, Step

ZONES: Mapping[str, str] = {"P1": "left", "P2": "left", "P3": "right", "GND1": "floor"}
PINS: Mapping[str, Sequence[str]] = dict.fromkeys(("P1", "P2", "P3"), ("1", "2", "3", "4"))
CONTACTS = [f"{ref}-{pin}" for ref in PINS for pin in "1234"] + ["GND1"]
RANKS = {"continuity": 10, "isolation": 30, "feed_volts": 70, "no_volts": 80}

PAIRS = st.lists(
    st.lists(st.sampled_from(CONTACTS), min_size=2, max_size=2, unique=True).map(tuple), min_size=1, max_size=7
)


def ohms(red: str, black: str, number: int = 0, check: str = "continuity", state: BenchState = ALL_OPEN) -> Step:
    name = f"{check}:{number}:{red}:{black}"
    return Step(name, check, Stage.DEAD, Quantity.OHMS, state, "?", (red, black), red, black)


def volts(red: str, black: str, number: int = 0, check: str = "no_volts") -> Step:
    name = f"{check}:{number}:{red}:{black}"
    state = BenchState(supply_on=True)
    return Step(name, check, Stage.POWER, Quantity.VOLTS, state, "?", (red, black), red, black)


def steps_of(pairs: Iterable[Sequence[str]], *, alike: bool = True) -> list[Step]:
    make = ohms if alike else volts
    return [make(pair[0], pair[1], number) for number, pair in enumerate(pairs)]


def cost_of(steps: Iterable[Step]) -> Effort:
    return effort(steps, ZONES, LeadRule())


def lead_seconds(cost: Effort) -> int:
    """What the order can change."""
    return cost.moves * MOVE_S + cost.connectors * CONNECTOR_S + cost.zones * ZONE_S


def least_of_all_orders(steps: Sequence[Step], weights: tuple[int, int, int]) -> int:
    """The least moves, connector changes and zone changes by these weights over every order of the steps.

    What a step costs hangs on the step before it alone, as long as all are alike, or none: so the best way to have done
    a set of steps that ends with a certain one is enough to go on from.
    """
    count = len(steps)

    def weighed(cost: Effort) -> int:
        return cost.moves * weights[0] + cost.connectors * weights[1] + cost.zones * weights[2]

    single = [weighed(cost_of([step])) for step in steps]
    pair = [[weighed(cost_of([a, b])) - single[i] for b in steps] for i, a in enumerate(steps)]
    best: dict[tuple[int, int], int] = {(1 << i, i): single[i] for i in range(count)}
    for done in range(1, 1 << count):
        for last in range(count):
            so_far = best.get((done, last))
            if so_far is None:
                continue
            for following in range(count):
                if not done >> following & 1:
                    key = (done | 1 << following, following)
                    cost = so_far + pair[last][following]
                    if cost < best.get(key, 1 << 30):
                        best[key] = cost
    return min(best[(1 << count) - 1, last] for last in range(count))
