"""Which of the groups that were joined to chassis lies at a reading that failed: pair by pair, likelier ones first."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from itertools import islice

from benchcheck.checks.continuity import ALLOWANCE_OHM
from benchcheck.checks.isolation import isolation_step
from benchcheck.checks.kind import Context, all_kinds
from benchcheck.diagnosis.hypothesis import OPEN_OHM
from benchcheck.harness.bundle import clip_point
from benchcheck.harness.near import near_pairs
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import ref_of
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.result import Result

FOLLOW_UP = "follow_up:"
MOST = 1000


def is_bundle(result: Result) -> bool:
    """Whether a reading was against more than the two groups at its leads."""
    return bool(result.step.state.links or result.step.state.plugs)


def is_follow_up(result: Result) -> bool:
    """Whether a result is of a probe beside the plan."""
    return result.step.check.startswith(FOLLOW_UP) or result.step.id.startswith(FOLLOW_UP)


def narrow(
    context: Context, result: Result, likelier: Sequence[str] = (), most: int = MOST
) -> Generator[Request, Reading, list[Result]]:
    """Probe the red contact of a failed reading against each group that was joined, until the one is found.

    likelier  contacts whose groups are tried first
    most      how many are tried
    Yields requests with everything open; returns what was read, as results of isolation.
    """
    red, kind = result.step.red, all_kinds()[result.step.check]
    found: list[Result] = []
    for black in islice(_joined(context, result, likelier), most):
        reading = yield Request(result.step.quantity, ALL_OPEN, red, black)
        if reading.state is ReadingState.NONE:
            continue
        step = isolation_step(f"{FOLLOW_UP}{kind.name}", context, red, black, "one of those that were joined")
        found.append(Result(step, reading, kind.judge(step, reading)))
        read = result.reading.value
        if (
            reading.state is ReadingState.VALUE
            and reading.value < OPEN_OHM
            and reading.value < ALLOWANCE_OHM + 1.1 * read
        ):
            break  # with no more than was read against all: through this one, or over it and on
    return found


def _joined(context: Context, result: Result, likelier: Sequence[str]) -> Iterator[str]:
    """A contact of each group that was joined to chassis: first the likelier ones, then chassis, what is near, all others."""
    groups, harness, state = context.groups, context.harness, result.step.state
    mine, chassis = groups.number[result.step.red], groups.number[harness.chassis]
    bundle = {chassis}
    for contact, number in groups.number.items():
        if contact in state.links or ref_of(contact) in state.plugs:
            bundle.add(number)
    bundle.discard(mine)
    near: dict[int, str] = {groups.number[c]: c for c in likelier if groups.number.get(c) in bundle}
    near.setdefault(chassis, harness.chassis)
    for pair in near_pairs(harness, context.nets):
        for one, other in ((pair.red, pair.black), (pair.black, pair.red)):
            if groups.number[one] == mine and groups.number[other] in bundle:
                near.setdefault(groups.number[other], other)
    yield from near.values()
    for number in sorted(bundle - set(near)):
        yield clip_point(harness, groups.members[number])
