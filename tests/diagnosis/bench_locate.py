"""How well the locator finds faults: `python tests/diagnosis/bench_locate.py`, by hand, with its seeds; `--small` for a sample.

The readings come from `nodal_bench`, a solver of its own: wires off by up to 20 percent of their stated lengths, a scatter at
every contact, unit inputs that differ from the unit files, noise on every reading. Printed are, for the demo harness:

    single faults    every one that can be planted: named first, among the first three, probes beside the plan
    double faults    random pairs: both in the first five pairs
    outside          faults that are not on the list: "none of these fits", or the faulty run among those named
    none             a sound harness, built anew each time: FAIL and UNSURE
    time             of the next probe, on the demo harness and on one of 5,000 runs
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from collections.abc import Generator, Iterable, Sequence
from dataclasses import dataclass
from itertools import islice, product
from pathlib import Path
from typing import TypeVar

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parent)]

from every_fault import dead_faults  # noqa: E402
from harness_maker import made  # noqa: E402
from model_bench import shipped  # noqa: E402
from nodal_bench import AnyFault, NodalBench, Odd  # noqa: E402

from benchcheck.checks.kind import Context, all_kinds  # noqa: E402
from benchcheck.diagnosis.classes import StoryClass, classes  # noqa: E402
from benchcheck.diagnosis.dead import Settled, settle  # noqa: E402
from benchcheck.diagnosis.next_probe import next_probe  # noqa: E402
from benchcheck.diagnosis.readings import Readings  # noqa: E402
from benchcheck.diagnosis.stories import cases  # noqa: E402
from benchcheck.harness.model import PartKind, Role  # noqa: E402
from benchcheck.plan.plan import make_plan  # noqa: E402
from benchcheck.simulator import faults as planted  # noqa: E402
from benchcheck.words.contact import join, pin_of, ref_of  # noqa: E402
from benchcheck.words.meter import MeterSpec  # noqa: E402
from benchcheck.words.reading import Reading  # noqa: E402
from benchcheck.words.request import Request  # noqa: E402
from benchcheck.words.result import Result  # noqa: E402
from benchcheck.words.step import Stage, Step  # noqa: E402

T = TypeVar("T")
SEED = 20
HIGH_OHM = (3.0, 400.0)  # of a poor crimp that a dead reading sees


@dataclass
class Found:
    """What the locator came to: its cases, and the probes that it took beside the plan."""

    readings: Readings
    settled: list[Settled]
    probes: int

    def ranked(self) -> list[list[tuple[str, frozenset[str]]]]:
        """Whole stories of all cases together, likeliest first: kind and place of each fault, classes as one."""
        lists = [classes(self.readings, entry.case) for entry in self.settled]
        ways = sorted(product(*lists), key=lambda way: -_chance(way)) if lists else []
        told: list[list[tuple[str, frozenset[str]]]] = []
        for way in ways:
            faults = [(fault.kind.value, frozenset(fault.where)) for entry in way for fault in entry.faults]
            if faults not in told:
                told.append(faults)
        return told

    @property
    def none_fits(self) -> bool:
        return any(entry.case.best.left for entry in self.settled)


def _chance(stories: Iterable[StoryClass]) -> float:
    chance = 1.0
    for story in stories:
        chance *= story.probability
    return chance


def drive(asking: Generator[Request, Reading, T], bench: NodalBench) -> T:
    """Answer what is asked for until the end."""
    try:
        request = next(asking)
        while True:
            request = asking.send(bench.read(request))
    except StopIteration as stop:
        answer: T = stop.value
        return answer


def dead_results(steps: Sequence[Step], bench: NodalBench) -> list[Result]:
    """The dead stage of a plan on this bench."""
    results = []
    for step in steps:
        judged = drive(all_kinds()[step.check].measure(step), bench)
        results.append(Result(step, judged.reading, judged.verdict))
    return results


def locate(context: Context, steps: Sequence[Step], faults: Sequence[AnyFault], seed: int) -> Found:
    """A dead stage with these faults, and what the locator makes of it."""
    bench = NodalBench(context.harness, faults, seed)
    results = dead_results(steps, bench)
    before = bench.asked
    readings = Readings(context, results)
    settled = drive(settle(readings), bench)
    return Found(readings, settled, bench.asked - before)


def is_told(context: Context, fault: AnyFault, told: Iterable[tuple[str, frozenset[str]]]) -> bool:
    """Whether a fault is among those named, in its kind and its place."""
    place = set(fault.where if isinstance(fault, Odd) else fault.where(context.harness))
    return any(kind == fault.kind and place <= where for kind, where in told)


def all_single(context: Context) -> list[AnyFault]:
    """Every fault of the dead stage, a poor crimp in every run that a dead reading can see, and what the simulator doesn't plant."""
    rng = random.Random(SEED)
    found: list[AnyFault] = [*dead_faults(context, rng), *reseated(context), *other_terminators(context)]
    low, high = HIGH_OHM
    for run in context.harness.wired_runs:
        if run.b:
            found.append(planted.HighResistance(run.wire, low * (high / low) ** rng.random()))
    return found


def reseated(context: Context) -> list[Odd]:
    """Rows exchanged, and conductors that sit one contact further, wherever four or more ends are moved by it."""
    found = []
    for connector in context.harness.connectors.values():
        order = [join(connector.ref, pin) for pin in connector.contacts]
        ends = {(run.wire, end) for run in context.harness.wired_runs if run.b for end in run.ends if end in order}
        populated = {end for _, end in ends}
        if len(connector.rows) > 1:
            first, last = ([join(connector.ref, pin) for pin in row] for row in (connector.rows[0], connector.rows[-1]))
            to = dict([*zip(first, last, strict=False), *zip(last, first, strict=False)])
            seats = {(wire, end): to[end] for wire, end in ends if end in to}
            if len(seats) >= 4:
                found.append(Odd("rows exchanged", (connector.ref,), seats=seats, kind="rows_exchanged"))
        for start, end in ((s, e) for s in range(len(order)) for e in range(s + 3, min(s + 9, len(order) - 1))):
            block = order[start : end + 1]
            if set(block) <= populated and order[end + 1] not in populated:
                seats = {(wire, at): order[order.index(at) + 1] for wire, at in ends if at in block}
                found.append(Odd(f"off by one in {block}", (connector.ref,), seats=seats, kind="off_by_one"))
                break
    return found


def other_terminators(context: Context) -> list[Odd]:
    """Terminators of half and of twice their value."""
    parts = [part for part in context.harness.parts if part.kind is PartKind.TERMINATOR]
    return [
        Odd("terminator", (part.ref,), parts={part.ref: part.ohm * times}, kind="wrong_part")
        for part in parts
        for times in (0.5, 2.0)
    ]


def single(context: Context, steps: Sequence[Step], every: int) -> None:
    faults = all_single(context)
    random.Random(SEED).shuffle(faults)
    first = third = unseen = 0
    probes: list[int] = []
    sizes: Counter[int] = Counter()
    faults = faults[::every]
    for number, fault in enumerate(faults):
        found = locate(context, steps, [fault], number)
        ranked = found.ranked()
        probes.append(found.probes)
        sizes[len(ranked[0][0][1]) if ranked else 0] += 1
        places = [turn for turn, told in enumerate(ranked[:3]) if is_told(context, fault, told)]
        first += bool(ranked) and places[:1] == [0] and len(ranked[0]) == 1
        third += bool(places)
        unseen += not found.settled
        if places[:1] != [0]:
            print(f"    not first: {fault}: {_short(ranked)}")
    print(
        f"single faults: {len(faults)}, named first and alone {_share(first, len(faults))}, in the first three "
        f"{_share(third, len(faults))}, nothing failed {unseen}; probes: {sum(probes) / len(probes):.2f} on average, "
        f"{max(probes)} at most; contacts or runs that a class names: {dict(sorted(sizes.items()))}"
    )


def double(context: Context, steps: Sequence[Step], count: int) -> None:
    faults = all_single(context)
    rng = random.Random(SEED + 1)
    hits = 0
    probes: list[int] = []
    misses: Counter[str] = Counter()
    for number in range(count):
        pair = rng.sample(faults, 2)
        found = locate(context, steps, pair, number)
        probes.append(found.probes)
        ranked = found.ranked()[:5]
        if any(all(is_told(context, fault, told) for fault in pair) for told in ranked):
            hits += 1
        else:
            misses["+".join(sorted(fault.kind for fault in pair))] += 1
            print(f"    missed: {pair[0]} and {pair[1]}: {_short(ranked)}")
    print(
        f"double faults: {count}, both in the first five pairs {_share(hits, count)}; "
        f"probes: {sum(probes) / len(probes):.2f} on average, {max(probes)} at most; missed by kinds: {dict(misses)}"
    )


def outside_faults(context: Context, rng: random.Random) -> list[Odd]:
    """Faults that the list doesn't have, in equal shares."""
    harness = context.harness
    runs = [run for run in harness.wired_runs if run.b and pin_of(run.b) and run.role is not Role.BRIDGE]
    run, other, third = rng.sample(runs, 3)
    connectors = [c for c in harness.connectors.values() if len(c.contacts) > 8]
    here = rng.choice([c for c in connectors if sum(ref_of(r.b) == c.ref for r in runs) >= 3])
    turning = rng.sample([r for r in runs if ref_of(r.b) == here.ref], 3)
    away = rng.choice([c for c in connectors if c.ref not in (ref_of(run.a), ref_of(run.b))])
    free = [join(away.ref, pin) for pin in away.contacts if context.nets.net_of(join(away.ref, pin)) is None]
    return [
        Odd("in another connector", (run.wire,), seats={(run.wire, run.b): rng.choice(free or [other.b])}),
        Odd(
            "three in a ring",
            tuple(r.wire for r in turning),
            seats={(r.wire, r.b): turning[(turn + 1) % 3].b for turn, r in enumerate(turning)},
        ),
        Odd(
            "exchanged between connectors",
            (run.wire, other.wire),
            seats={(run.wire, run.b): other.b, (other.wire, other.b): run.b},
        ),
        Odd("joined far apart", (run.wire, other.wire), joints=((run.b, other.b, rng.choice((0.5, 30.0, 5e3))),)),
        Odd(
            "three joined",
            (run.wire, other.wire, third.wire),
            joints=((run.b, other.b, 0.4), (other.b, third.b, 0.4)),
        ),
        Odd("cut, and one piece on another", (run.wire,), seats={(run.wire, run.b): other.a}),
    ]


def outside(context: Context, steps: Sequence[Step], count: int) -> None:
    rng = random.Random(SEED + 2)
    good: Counter[str] = Counter()
    tried: Counter[str] = Counter()
    number = 0
    while sum(tried.values()) < count:
        for fault in outside_faults(context, rng):
            number += 1
            found = locate(context, steps, [fault], number)
            if not found.settled:
                continue  # it changes nothing that is read: two ends of one net
            tried[fault.name] += 1
            named = {name for told in found.ranked()[:1] for _, where in told for name in where}
            contacts = {end for wire in fault.where for run in [context.harness.run(wire)] if run for end in run.ends}
            nets = {context.nets.net_of(end) for end in contacts}
            near = {name for name in named if name in fault.where or context.nets.net_of(name) in nets - {None}}
            if found.none_fits or near:
                good[fault.name] += 1
            else:
                print(f"    missed: {fault}: {_short(found.ranked())}")
    whole = sum(tried.values())
    kinds = {name: f"{good[name]} of {tried[name]}" for name in tried}
    print(f"faults outside the list: {whole}, said or named {_share(sum(good.values()), whole)}; {kinds}")


def none(context: Context, steps: Sequence[Step], count: int) -> None:
    outcomes: Counter[str] = Counter()
    for seed in range(count):
        outcomes.update(r.outcome.value for r in dead_results(steps, NodalBench(context.harness, (), 10_000 + seed)))
    whole = sum(outcomes.values())
    print(f"no fault: {count} runs of {len(steps)} steps: {dict(outcomes)}; UNSURE {_share(outcomes['UNSURE'], whole)}")


def timed(name: str, context: Context, steps: Sequence[Step], count: int) -> None:
    faults = dead_faults(context, random.Random(SEED))
    rng = random.Random(SEED + 3)
    spent = []
    for number, fault in enumerate(rng.sample(faults, count)):
        results = dead_results(steps, NodalBench(context.harness, [fault], number))
        start = time.process_time()
        readings = Readings(context, results)
        for case in islice(cases(readings), 3):
            next_probe(readings, case)
        spent.append(time.process_time() - start)
    print(
        f"time to rank and to suggest the next probe, {name}: {max(spent):.2f} s of a core at most of {count}, from all readings anew"
    )


def _short(ranked: Sequence[Sequence[tuple[str, frozenset[str]]]]) -> str:
    return (
        " | ".join(" + ".join(f"{kind} {sorted(where)[:4]}" for kind, where in told) for told in ranked[:3])
        or "nothing"
    )


def _share(part: int, whole: int) -> str:
    return f"{part} ({100 * part / whole:.2f} %)" if whole else "none"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="a sample of each")
    parser.add_argument("--only", choices=["single", "double", "outside", "none", "time"])
    args = parser.parse_args()
    harness, plan, _ = shipped("survey_launch")
    context = Context(harness, MeterSpec())
    steps = plan.of_stage(Stage.DEAD)
    wanted = [args.only] if args.only else ["single", "double", "outside", "none", "time"]
    if "single" in wanted:
        single(context, steps, 16 if args.small else 1)
    if "double" in wanted:
        double(context, steps, 60 if args.small else 2000)
    if "outside" in wanted:
        outside(context, steps, 30 if args.small else 500)
    if "none" in wanted:
        none(context, steps, 20 if args.small else 1000)
    if "time" in wanted:
        timed("the demo harness", context, steps, 100)
        large = made(5000, 250, SEED)
        timed("5,000 runs", Context(large, MeterSpec()), make_plan(large).of_stage(Stage.DEAD), 40)


if __name__ == "__main__":
    main()
