"""The lower bound is one: compared with every order of small sets; and it is not idle: for trees it is exact."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_steps import PAIRS, ZONES, cost_of, least_of_all_orders, ohms, steps_of, volts

from benchcheck.plan.bound import least_effort, least_placements
from benchcheck.plan.leads import LeadRule


def exact(lines: list[frozenset[int]]) -> int:
    """The fewest lead moves over every order, by the best way to each set of lines that ends with a certain one."""
    count = len(lines)
    best = {(1 << i, i): 2 for i in range(count)}
    for done in range(1, 1 << count):
        for last in range(count):
            if (done, last) in best:
                for following in range(count):
                    if not done >> following & 1:
                        key = (done | 1 << following, following)
                        cost = best[done, last] + (1 if lines[last] & lines[following] else 2)
                        best[key] = min(cost, best.get(key, cost))
    return min(best[(1 << count) - 1, last] for last in range(count))


def placements(some: list[frozenset[int]]) -> int:
    return least_placements((min(line), max(line)) for line in some)


def lines(*pairs: tuple[int, ...]) -> list[frozenset[int]]:
    return [frozenset(pair) for pair in pairs]


@pytest.mark.parametrize(
    ("given", "moves"),
    [
        (lines((1, 2)), 2),
        (lines((1, 2), (3, 4)), 4),
        (lines((1, 2), (2, 3), (3, 4)), 4),  # a path: one lead walks
        (lines((0, 1), (0, 2), (0, 3), (0, 4)), 5),  # a star: one lead stays
        (lines((0, 1), (0, 2), (0, 3), (1, 11), (2, 12), (3, 13)), 8),  # three arms of two: one arm is another walk
        (lines((0, 1), (0, 2), (0, 3), (0, 4), (0, 5), (1, 11), (2, 12), (3, 13), (4, 14), (5, 15)), 13),  # five: three
        (lines((1, 2), (2, 3), (3, 1), (1, 11), (2, 12), (3, 13)), 7),  # arms of one at a ring: in passing
        (
            lines((1, 2), (2, 3), (3, 1), (1, 11), (2, 12), (3, 13), (11, 21), (12, 22), (13, 23)),
            11,
        ),  # of two: two walks
        (lines((1,), (1, 2)), 3),  # two contacts of one connector, then one of them with another
        (lines((1,), (2,)), 4),
    ],
)
def test_counted_by_hand(given: list[frozenset[int]], moves: int) -> None:
    assert placements(given) == moves
    assert exact(given) == moves


@settings(max_examples=150, deadline=None)
@given(st.lists(st.frozensets(st.integers(1, 8), min_size=1, max_size=2), min_size=1, max_size=8, unique=True))
def test_never_above_the_best_order(some: list[frozenset[int]]) -> None:
    assert placements(some) <= exact(some)


def test_exact_for_trees() -> None:
    chance = random.Random(4)
    for _ in range(60):
        tree = lines(*((i, chance.randrange(max(0, i - 3), i)) for i in range(1, chance.randint(2, 10))))
        assert placements(tree) == exact(tree), tree


@settings(max_examples=60, deadline=None)
@given(PAIRS, st.booleans())
def test_each_part_of_the_cost_is_never_above_the_best_order(pairs: list[tuple[str, str]], alike: bool) -> None:
    steps = steps_of(pairs, alike=alike)
    least = least_effort([steps], ZONES, LeadRule())
    for weights, bound in (((1, 0, 0), least.moves), ((0, 1, 0), least.connectors), ((0, 0, 1), least.zones)):
        assert bound <= least_of_all_orders(steps, weights), weights


@settings(max_examples=60, deadline=None)
@given(PAIRS, PAIRS)
def test_two_segments_one_after_the_other(one: list[tuple[str, str]], other: list[tuple[str, str]]) -> None:
    """Every order of the first with every order of the second, for few of each."""
    from itertools import permutations

    first, second = steps_of(one[:3]), steps_of(other[:3])
    least = least_effort([first, second], ZONES, LeadRule())
    costs = [cost_of([*a, *b]) for a in permutations(first) for b in permutations(second)]
    assert least.moves <= min(cost.moves for cost in costs)
    assert least.connectors <= min(cost.connectors for cost in costs)
    assert least.zones <= min(cost.zones for cost in costs)


def test_what_no_order_changes_is_the_cost_itself() -> None:
    steps = [ohms("P1-1", "P2-1"), volts("P1-1", "P2-1")]
    least, cost = least_effort([steps[:1], steps[1:]], ZONES, LeadRule()), cost_of(steps)
    assert (least.readings, least.changes) == (cost.readings, cost.changes) == (2, 1)
    assert least.moves == cost.moves == 2  # the leads stay


def test_nothing_to_probe() -> None:
    assert least_effort([], ZONES, LeadRule()).seconds == 0
    assert least_placements([]) == 0
