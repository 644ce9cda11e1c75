"""The locator against a solver of its own (`nodal_bench`): samples of what `bench_locate.py` measures whole."""

from __future__ import annotations

import random

import pytest
from bench_locate import all_single, is_told, locate, outside_faults
from model_bench import shipped
from nodal_bench import NodalBench, Odd

from benchcheck.checks.kind import Context
from benchcheck.diagnosis import dead, stories
from benchcheck.diagnosis.classes import classes
from benchcheck.diagnosis.dead import settle
from benchcheck.diagnosis.next_probe import MOST_PROBES
from benchcheck.diagnosis.readings import Readings
from benchcheck.simulator.faults import BusCut, HighResistance, OpenRun, Short, SwappedContacts, WrongContact
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.result import Result
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome, Verdict


def launch() -> tuple[Context, tuple[Step, ...]]:
    harness, plan, _ = shipped("survey_launch")
    return Context(harness, MeterSpec()), plan.of_stage(Stage.DEAD)


def test_the_solver_of_the_tests_agrees_with_handbook_wire() -> None:
    # AC 43.13-1B Table 11-9: 22 AWG at most 16.20 ohm/1000 ft = 53.15 mohm/m at 20 C; ours is solid copper, off by up to 20 percent
    harness = shipped("survey_launch")[0]
    run = next(run for run in harness.wired_runs if run.awg == 22 and run.length_m and run.b and run.cable)
    bench = NodalBench(harness, (), 1)
    reading = bench.read(Request(Quantity.OHMS, ALL_OPEN, run.a, run.b))
    most = 0.05315 * run.length_m * 1.2 + 2 * 0.03 + bench.meter.ohm_uncertainty(1.0) if run.length_m else 0.0
    assert reading.state is ReadingState.VALUE
    assert reading.value <= most


def test_a_sample_of_single_faults_is_named_first_with_few_probes() -> None:
    context, steps = launch()
    faults = all_single(context)
    random.Random(1).shuffle(faults)
    probes = []
    for seed, fault in enumerate(faults[::60]):
        found = locate(context, steps, [fault], seed)
        assert is_told(context, fault, found.ranked()[0]), fault
        assert len(found.settled) == 1
        probes.append(found.probes)
    assert max(probes) <= MOST_PROBES
    assert sum(probes) / len(probes) <= 2.5  # of all of them it is below 2: see bench_locate.py


@pytest.mark.parametrize(
    "pair",
    [
        (SwappedContacts(("P192-20", "P192-21")), HighResistance("W764", 388.0)),  # one hides the other until probed
        (OpenRun("W409"), WrongContact("W304", "P114-4", "P114-15")),
        (Short(("P107-7", "P107-8"), 0.4), OpenRun("W412")),
    ],
)
def test_two_faults_at_once(pair: tuple[OpenRun, OpenRun]) -> None:
    context, steps = launch()
    found = locate(context, steps, pair, 3)
    assert any(all(is_told(context, fault, told) for fault in pair) for told in found.ranked()[:5])


def test_what_is_not_on_the_list_is_said_or_its_run_is_named() -> None:
    context, steps = launch()
    for seed, fault in enumerate(outside_faults(context, random.Random(7))):
        found = locate(context, steps, [fault], seed)
        named = {name for told in found.ranked()[:1] for _, where in told for name in where}
        ends = {end for wire in fault.where if (run := context.harness.run(wire)) for end in run.ends}
        assert not found.settled or found.none_fits or named & {*fault.where, *ends} or _one_net(context, named, ends)


def _one_net(context: Context, named: set[str], ends: set[str]) -> bool:
    return bool({context.nets.net_of(name) for name in named} & {context.nets.net_of(end) for end in ends} - {None})


def test_joints_that_are_each_poor_are_told_each() -> None:
    context, steps = launch()
    found = locate(context, steps, [Odd("in series", ("W408", "W409"), series={"W408": 47.0, "W409": 47.0})], 5)
    assert sorted(found.ranked()[0]) == [("high_resistance", {"W408"}), ("high_resistance", {"W409"})]


def test_probabilities_of_a_case_add_up_and_classes_hold_what_no_probe_tells_apart() -> None:
    context, steps = launch()
    found = locate(context, steps, [SwappedContacts(("P192-20", "P192-21"))], 2)
    (entry,) = found.settled
    assert sum(story.probability for story in entry.case.stories) == pytest.approx(1.0)
    first = classes(found.readings, entry.case)[0]
    # exchanged at one end reads like exchanged at the other: one class, which names both
    assert set(first.faults[0].where) == {"P192-20", "P192-21", "P103-2", "P103-10"}
    assert first.probability > 0.95


def test_a_sound_harness_asks_for_nothing() -> None:
    context, steps = launch()
    for seed in range(3):
        assert locate(context, steps, [], seed).settled == []


def test_the_bus_cut_is_one_fault_and_not_two() -> None:
    context, steps = launch()
    cut = next(fault for fault in all_single(context) if isinstance(fault, BusCut))
    found = locate(context, steps, [cut], 4)
    assert [kind for kind, _ in found.ranked()[0]] == ["bus_cut"]


def test_a_bench_on_which_nearly_all_fails_is_no_matter_of_probes(monkeypatch: pytest.MonkeyPatch) -> None:
    """A lead that is off: nothing is asked for, and what is beyond a harness's faults is left unexplained."""
    context, steps = launch()
    over = Reading(ReadingState.OVER, "ohm", over_above=context.meter.ohm_max)
    monkeypatch.setattr(stories, "MOST_ODD", 12)
    monkeypatch.setattr(dead, "MOST_ODD", 12)
    joints = [step for step in steps if step.check == "continuity"][:30]
    readings = Readings(context, [Result(step, over, Verdict(Outcome.FAIL, "open", "OL")) for step in joints])
    assert len(readings.odd()) == 30
    settling = settle(readings)
    with pytest.raises(StopIteration) as stop:
        next(settling)
    found = stop.value.value
    assert {number for entry in found for number in entry.case.odd} == set(readings.odd())
    assert found[-1].case.best.left == frozenset(readings.odd()[12:])
