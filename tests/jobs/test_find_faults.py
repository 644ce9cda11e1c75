"""Planted faults through the whole job on the model bench: each found once, by its kind and its place, and nothing else.

The squawk may name more places than the truth where the readings fit either (two ends of one pair): it must name them
together, and the true one among them.
"""

from __future__ import annotations

import random

import pytest
from model_bench import ALL_STAGES, Job, job, shipped

from benchcheck.simulator import faults as planted
from benchcheck.simulator.fault_file import read_faults
from benchcheck.simulator.faults import KINDS, Fault
from benchcheck.simulator.launch import demo_faults_path
from benchcheck.words.errors import ExitCode
from benchcheck.words.event import EventKind
from benchcheck.words.step import Stage

STARTER: list[Fault] = [
    planted.OpenRun("W10"),
    planted.OpenRun("W1"),  # a feed
    planted.OpenRun("W4"),  # a ground
    planted.HighResistance("W2", 1.5),
    planted.HighResistance("W3", 1.5),
    planted.SwappedContacts(("P1-4", "P1-5")),
    planted.SwappedContacts(("P1-6", "P1-7")),  # CAN-H and CAN-L
    planted.MirroredNumbering("P1"),
    planted.WrongContact("W10", "P2-8", "P2-10"),
    planted.Short(("P2-4", "P2-5"), 0.4),
    planted.Short(("P1-1", "P1-2"), 0.2),
    planted.MissingBridge("B1"),
    planted.ExtraTerminator(("P2-4", "P2-5")),
    planted.BusCut(("W6", "W7")),
    planted.ProtectorOpen("CB1"),
    planted.UnitCurrent("REC", 1.8),
    planted.UnitCurrent("GPS", 0.4),
    planted.DeadTransmitter("P1-3"),
    planted.SilentUnit("REC"),
    planted.LateUnit("GPS", 2.5),
    planted.IntermittentUnit("GPS", 1.6, 1.1),
    planted.WrongBaud("position", "GPS", 9600),
    planted.InvertedLevels("P1-3"),
    planted.UnexpectedMessage("can1", 0x7A5, 0.1),
]

# Kinds that need what the starter has not, and a second place for others
LAUNCH: list[Fault] = [
    planted.MissingDrain("S16"),  # meshed with S22
    planted.OpenRun("W202"),  # doubled with W203
    planted.MissingTerminator("RT1"),
    planted.MissingTerminator("RT2"),
    planted.CrossedTxRx(("P107-2", "P107-3")),
    planted.BusCut(("W311", "W312")),
    planted.MirroredNumbering("P105"),  # circular, with lettered contacts
    planted.Short(("P113-14", "P113-15"), 0.4),
    planted.ConverterOff("CONV"),
    planted.FeedVolts("12V sensors", 9.5),
    planted.HighResistance("W223", 1.2),
    planted.StuckSignal("can1", "MRU_HEAVE", "Heave"),
    planted.AbsurdSignal("can1", "TIDE_LEVEL", "TideLevel", 14.9),
    planted.ExchangedTalkers("position", "GNSS", "depth", "SONAR"),
    planted.InvertedLevels("P108-7"),
    planted.LateUnit("MRU", 2.5),  # its line is the first that is listened to
]


def run(profile: str, *faults: Fault) -> Job:
    made = job(profile, *faults)
    dead_only = all(fault.stage == "dead" for fault in faults)
    made.run((Stage.DEAD,) if dead_only and profile != "starter" else ALL_STAGES)
    return made


def name(fault: Fault) -> str:
    return f"{fault.kind}-{'+'.join(str(value) for value in fault.where(shipped('survey_launch')[0]))}"


@pytest.mark.parametrize(
    ("profile", "fault"),
    [pytest.param("starter", f, id=name(f)) for f in STARTER]
    + [pytest.param("survey_launch", f, id=f"launch-{name(f)}") for f in LAUNCH],
)
def test_one_fault_one_squawk(profile: str, fault: Fault) -> None:
    made = run(profile, fault)
    truth = fault.truth(shipped(profile)[0])
    assert [kind for kind, _ in made.squawks] == [fault.kind]
    (squawk,) = made.runner.board.squawks
    assert set(truth["where"]) <= set(squawk.where)  # type: ignore[call-overload]
    assert squawk.stage == truth["stage"]
    assert squawk.steps
    assert squawk.readings
    assert len(squawk.text) > 20
    assert all(place in squawk.text for place in fault.where(shipped(profile)[0]))
    assert made.runner.board.exit_code(ALL_STAGES) is ExitCode.FAIL
    (opened,) = made.record.bodies(EventKind.SQUAWK_OPENED)
    assert opened == squawk.to_json()
    # the steps behind it are steps of the plan that failed
    for step in squawk.steps:
        assert made.runner.board.outcome(step) == "FAIL"


def test_every_kind_of_fault_is_planted_here() -> None:
    assert {fault.kind for fault in STARTER + LAUNCH} == set(KINDS)


def test_the_demo_s_faults_all_at_once() -> None:
    harness = shipped("survey_launch")[0]
    faults = read_faults(demo_faults_path(), harness)
    made = job("survey_launch", *faults)
    made.run()
    assert len({fault.kind for fault in faults}) >= 8
    left = list(made.squawks)
    for fault in faults:
        (match,) = [s for s in left if s[0] == fault.kind and set(fault.where(harness)) <= set(s[1])]
        left.remove(match)
    assert left == []


def test_the_demo_s_faults_mended_one_stage_after_the_other() -> None:
    """Mend all, run once more: every squawk is closed and nothing is left but what the adapter can't tell."""
    harness = shipped("survey_launch")[0]
    made = job("survey_launch", *read_faults(demo_faults_path(), harness))
    made.run()
    count = len(made.squawks)
    after = made.rework()
    after.run()
    assert after.squawks == []
    assert len(made.record.bodies(EventKind.SQUAWK_CLOSED)) == count
    after.run([Stage.DEAD])  # the joint that was mended under power has put what was read at its contacts in doubt
    assert [step.id for step in after.runner.board.todo()] == ["bus_errors:can1"]


def test_what_no_meter_of_this_kind_can_see_is_not_called_a_fault() -> None:
    """A joint of an ohm in one of two doubled grounds: the drop goes the other way, the lenient question passes."""
    made = job("starter")
    made.run()
    assert made.squawks == []
    hidden = run("survey_launch", planted.HighResistance("W202", 1.0))
    assert hidden.squawks == []


@pytest.mark.parametrize("seed", range(6))
def test_two_faults_that_have_nothing_to_do_with_each_other(seed: int) -> None:
    """Drawn from the demo harness's signal wires and bridges, at connectors apart."""
    harness = shipped("survey_launch")[0]
    chance = random.Random(seed)
    wires = [f"W{n}" for n in (*range(601, 606), *range(709, 715), *range(751, 760), *range(764, 768))]
    bridges = [planted.MissingBridge(run.wire) for run in harness.runs if run.role == "bridge"]
    open_run = planted.OpenRun(chance.choice(wires))
    bridge = chance.choice(bridges)
    terminator = planted.MissingTerminator(chance.choice(["RT1", "RT2"]))
    made = run("survey_launch", open_run, bridge, terminator)
    assert sorted(made.squawks) == sorted((f.kind, f.where(harness)) for f in (open_run, bridge, terminator))


@pytest.mark.long
@pytest.mark.timeout(1200)
@pytest.mark.parametrize("kind", ["late_unit", "intermittent_unit", "silent_unit", "unit_current"])
def test_every_unit_of_the_demo_s_bus(kind: str) -> None:
    harness = shipped("survey_launch")[0]
    values = {"late_unit": (2.5,), "intermittent_unit": (1.6, 1.1), "silent_unit": (), "unit_current": (1.8,)}[kind]
    for unit in harness.buses[0].nodes:
        fault = KINDS[kind](unit, *values)
        assert run("survey_launch", fault).squawks == [(kind, (unit,))]
