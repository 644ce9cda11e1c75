"""The dead stage's verdicts: continuity, parts, isolation, supply and bus to ground, termination."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from judging import judged, ohms, over, said, step_of, verdict
from model_bench import shipped
from small_benches import chain

from benchcheck.checks import isolation
from benchcheck.checks.kind import Context, all_kinds, over_range
from benchcheck.harness.model import Harness, Limits, Part, PartKind, Role, Run, RunState
from benchcheck.plan.plan import make_plan
from benchcheck.simulator.faults import MissingBridge, ProtectorOpen
from benchcheck.simulator.model import BenchModel
from benchcheck.words.bench_state import BenchState
from benchcheck.words.errors import InputError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading
from benchcheck.words.step import Stage, Step
from benchcheck.words.verdict import Band, Outcome
from benchcheck.words.ways import Isolation, Ways

METER = MeterSpec()


def steps(harness: object, kind: str, meter: MeterSpec = METER) -> dict[str, Step]:
    return {step.id: step for step in all_kinds()[kind].steps(Context(harness, meter))}  # type: ignore[arg-type]


# --- continuity --------------------------------------------------------------------------------------------------


def test_continuity_of_a_run() -> None:
    step = step_of("continuity:W603")
    assert said(step, ohms(0.3)) == ("PASS", "in_band")
    assert said(step, ohms(-0.1)) == ("PASS", "in_band")  # leads taken off a little too far
    assert said(step, over()) == ("FAIL", "open")
    assert said(step, ohms(2e6)) == ("FAIL", "open")
    assert said(step, ohms(30.0)) == ("FAIL", "too_high")
    assert "unseated" in verdict(step, over()).text


def test_continuity_near_its_limit_is_unsure() -> None:
    step = step_of("continuity:W603")
    assert step.band is not None
    assert step.band.high is not None
    high, u = step.band.high, METER.ohm_uncertainty(step.band.high)
    assert said(step, ohms(high)) == ("UNSURE", "meter_cannot_tell")
    assert said(step, ohms(high - 0.9 * u)) == ("UNSURE", "meter_cannot_tell")
    assert said(step, ohms(high - 1.1 * u))[0] == "PASS"
    assert said(step, ohms(high + 1.1 * u))[0] == "FAIL"


def test_the_limit_is_the_wire_and_two_ohms() -> None:
    """W603 is 3.8 m of AWG 22: 16.20 ohm per 1000 ft at 20 C at most (AC 43.13-1B, table 11-9). The allowance of
    2 ohm for probes and a tired lead is common practice, no source."""
    step = step_of("continuity:W603")
    assert step.band is not None
    wire = 3.8 * 16.20 / 304.8 + 2 * 0.003
    assert step.band.high == pytest.approx(wire + 2.0, abs=1e-3)
    assert step.band.low is None
    assert "AWG 22" in step.band.source
    assert "3.8 m" in step.band.source
    assert "20 C" in step.band.source


def test_a_doubled_ground_is_proved_with_one_end_lifted() -> None:
    step = step_of("continuity:W202")
    assert (step.red, step.black) == ("GND1", "W202@GND2")
    assert step.state.lifted == {"W202@GND2"}
    assert "lift W202" in step.note
    assert step.settings["unresolved"] is False
    assert said(step, ohms(0.1)) == ("PASS", "in_band")
    assert said(step, over()) == ("FAIL", "open")


def test_what_nothing_can_prove_says_so() -> None:
    """Two runs between the same two crimped contacts: neither end comes off, and a good reading proves neither."""
    harness = chain()
    twins = tuple(Run(w, "P1-8", "P2-9", Role.SIGNAL, 22, 1.0) for w in ("X1", "X2"))
    made = steps(replace(harness, runs=(*harness.runs, *twins)), "continuity")
    step = made["continuity:X1"]
    assert "neither end can be lifted" in step.note
    assert step.settings["unresolved"] is True
    found = verdict(step, ohms(0.1))
    assert (found.outcome, found.reason) == (Outcome.UNSURE, "cannot_prove")
    assert found.text.startswith("can't prove as wired")
    assert said(step, over()) == ("FAIL", "open")  # and both gone is seen


def test_a_meter_that_is_fine_enough_needs_nothing_lifted() -> None:
    """A long run beside a much longer way round: 10 ohm against 20 ohm is told apart, 0.5 against 1 is not."""
    harness = chain()

    def made(ohm: float) -> Step:
        metres = ohm / (16.20 / 304.8)
        runs = (
            Run("X1", "P1-8", "GND1", Role.SIGNAL, 22, metres),
            Run("X2", "P1-8", "P2-9", Role.SIGNAL, 22, metres),
            Run("X3", "P2-9", "GND1", Role.SIGNAL, 22, metres),
        )
        return steps(replace(harness, runs=(*harness.runs, *runs)), "continuity")["continuity:X1"]

    assert made(0.5).state.lifted
    coarse = made(10.0)
    assert not coarse.state.lifted
    assert coarse.band is not None
    assert coarse.band.high is not None
    with_it, without = 10 * 20 / 30, 20.0
    assert with_it < coarse.band.high < without
    assert said(coarse, ohms(with_it))[0] == "PASS"
    assert said(coarse, ohms(without)) == ("FAIL", "too_high")


def test_planned_runs_and_floating_shields_have_no_step() -> None:
    harness = chain()
    runs = tuple(replace(r, state=RunState.PLANNED) if r.wire == "W51" else r for r in harness.runs)
    made = steps(replace(harness, runs=(*runs, Run("S2", "P1-ring", "", Role.SHIELD))), "continuity")
    assert "continuity:W51" not in made
    assert "continuity:S2" not in made
    assert len(made) == len(harness.runs) - 1


def test_words_for_bridges_and_drains() -> None:
    assert "bridge B11" in step_of("continuity:B11").question
    assert "drain S8" in step_of("continuity:S8").question


# --- parts -------------------------------------------------------------------------------------------------------


def test_a_protector() -> None:
    step = step_of("part_value:CB1")
    assert said(step, ohms(0.1)) == ("PASS", "in_band")
    assert said(step, over()) == ("FAIL", "open")
    assert said(step, ohms(12.0))[0] == "FAIL"


def test_a_resistor() -> None:
    step = step_of("part_value:R1")  # 1000 ohm, 5 percent
    assert said(step, ohms(1000.0)) == ("PASS", "in_band")
    assert said(step, ohms(1030.0)) == ("PASS", "in_band")
    assert said(step, ohms(1048.0)) == ("UNSURE", "meter_cannot_tell")
    assert said(step, ohms(1100.0)) == ("FAIL", "wrong_value")
    assert said(step, ohms(4700.0)) == ("FAIL", "wrong_value")
    assert said(step, ohms(0.4)) == ("FAIL", "wrong_value")
    assert said(step, over()) == ("FAIL", "open")


def test_a_resistor_is_judged_with_what_lies_beside_it() -> None:
    harness = chain()
    parts = (
        *harness.parts,
        Part("R1", PartKind.RESISTOR, "P1-8", "P1-9", 100.0),
        Part("R2", PartKind.RESISTOR, "P1-8", "P1-9", 300.0),
    )
    step = steps(replace(harness, parts=parts), "part_value")["part_value:R1"]
    assert said(step, ohms(75.0))[0] == "PASS"  # 100 beside 300
    assert said(step, ohms(100.0))[0] == "FAIL"


def test_terminators_relays_and_diodes_have_no_value_step() -> None:
    harness = chain()
    parts = tuple(Part(f"X{n}", kind, "P1-8", "P1-9", 1.0) for n, kind in enumerate(PartKind))
    made = steps(replace(harness, parts=parts), "part_value")
    assert {step.subject[0] for step in made.values()} == {
        part.ref for part in parts if part.kind in (PartKind.PROTECTOR, PartKind.SWITCH, PartKind.RESISTOR)
    }


# --- isolation ---------------------------------------------------------------------------------------------------

COARSE_OHM = 1e6
"""More than 1 Mohm per circuit for coarse dc isolation: a NASA best-practice page on dc isolation."""


PAIR = "isolation:P105-T:P105-U"


def test_isolation() -> None:
    step = step_of(PAIR)
    assert step.band == Band(COARSE_OHM, None, "ohm", step.band.source if step.band else "")
    assert said(step, over()) == ("PASS", "in_band")
    assert said(step, ohms(5e6)) == ("PASS", "in_band")
    assert said(step, ohms(1.005e6)) == ("UNSURE", "meter_cannot_tell")
    assert said(step, ohms(0.4)) == ("FAIL", "joined")
    assert said(step, ohms(900e3)) == ("FAIL", "joined")


def test_a_meter_whose_range_ends_below_the_limit_proves_nothing() -> None:
    """More than 200 kohm is not more than 1 Mohm."""
    assert said(step_of(PAIR), over(above=200e3))[0] == "UNSURE"


def test_isolation_never_calls_itself_insulation_resistance() -> None:
    """That is 100 Mohm and more at 200 to 1000 V (US Army SB 740-91-01): a meter's half volt is no such test."""
    for name in ("isolation", "supply_to_ground", "can_to_rail"):
        for step in steps(shipped("survey_launch")[0], name).values():
            assert "not an insulation resistance test" in step.note
            assert "0.6 V" in step.note
            assert "40 Mohm" in step.note
            assert "insulation" not in step.question


ISOLATION_KINDS = ("isolation", "supply_to_ground", "can_to_rail")


def proved_by(made: Iterable[Step], context: Context) -> list[frozenset[frozenset[str]]]:
    """Each pair of conducting groups that these steps prove apart, clips at the black lead included."""
    circuit = context.circuit(BenchState())
    return [
        frozenset((circuit.component(step.red), circuit.component(black)))
        for step in made
        if step.check in ISOLATION_KINDS
        for black in {step.black, *step.state.links}
    ]


def test_each_pair_of_conducting_groups_is_asked_once() -> None:
    """Across all kinds that ask for isolation: no reading proves what another was there to prove."""
    context = shipped("survey_launch")[2]
    circuit = context.circuit(BenchState())
    seen: set[frozenset[frozenset[str]]] = set()
    for step in shipped("survey_launch")[1].steps:
        if step.check in ISOLATION_KINDS:
            groups = frozenset((circuit.component(step.red), circuit.component(step.black)))
            assert len(groups) == 2, f"{step.id}: these conduct by design"
            if step.state.links and step.check == "isolation" and groups in seen:
                # a wire of the bus was read against chassis by can_to_rail; here it is about more than that
                assert len(step.settings["apart_from"]) > 1  # type: ignore[arg-type]
            else:
                assert groups not in seen, f"{step.id} proves what another step proves"
            seen.add(groups)


def test_all_neighbours_in_a_connector_are_covered() -> None:
    """Every two populated contacts side by side that are not one group by design have a step that would see a strand."""
    harness, plan, context = shipped("survey_launch")
    circuit = context.circuit(BenchState())
    proved = set(proved_by(plan.steps, context))
    for connector in harness.connectors.values():
        for row in connector.rows:
            for a, b in itertools.pairwise(row):
                one, other = f"{connector.ref}-{a}", f"{connector.ref}-{b}"
                if context.nets.net_of(one) is None or context.nets.net_of(other) is None:
                    continue
                groups = frozenset((circuit.component(one), circuit.component(other)))
                assert len(groups) == 1 or groups in proved, (one, other)


def test_a_shield_that_floats_is_proved_apart_from_chassis() -> None:
    assert "isolation:P2-ring:GND1" in steps(shipped("starter")[0], "isolation")


def test_every_shield_is_proved_apart_from_chassis_and_from_its_cores() -> None:
    """Rings are joined to the shells at close-out only, so before it no shield conducts to chassis."""
    harness, plan, context = shipped("survey_launch")
    circuit = context.circuit(BenchState())
    proved = set(proved_by(plan.steps, context))
    shields = {run.wire: run.a for run in harness.runs if run.role is Role.SHIELD}
    for drain in shields.values():
        assert frozenset((circuit.component(drain), circuit.component(harness.chassis))) in proved, drain
    for run in harness.runs:
        if run.shield:
            assert frozenset((circuit.component(run.a), circuit.component(shields[run.shield]))) in proved, run.wire


def test_every_net_is_proved_apart_from_every_feed() -> None:
    harness, plan, context = shipped("survey_launch")
    circuit = context.circuit(BenchState())
    proved = set(proved_by(plan.steps, context))
    for members in context.nets.all_members():
        for feed in harness.feeds:
            groups = frozenset((circuit.component(members[0]), circuit.component(feed.source)))
            assert len(groups) == 1 or groups in proved, (members[0], feed.name)


def test_isolation_by_hand_takes_at_most_one_and_a_half_readings_a_contact() -> None:
    """The figure of the job's plan: populated contacts of connectors, all three kinds together."""
    harness, plan, context = shipped("survey_launch")
    readings = sum(step.check in ISOLATION_KINDS for step in plan.steps)
    wired = {end for run in harness.runs for end in run.ends} | {e for part in harness.parts for e in (part.a, part.b)}
    contacts = {f"{c.ref}-{pin}" for c in harness.connectors.values() for pin in c.contacts} & wired
    assert readings / len(contacts) <= 1.5
    by_plug = make_plan(harness, MeterSpec(), Ways(Isolation.PLUG))
    assert sum(step.check in ISOLATION_KINDS for step in by_plug.steps) <= len(context.nets)


def test_a_large_bleeder_across_a_feed_costs_few_readings_more() -> None:
    """It is clipped like any other feed; only what the bleeder itself joins goes pair by pair."""
    made = chain()
    plain = len(steps(made, "isolation"))
    bled = replace(made, parts=(*made.parts, replace(BLEEDER, ohm=470e3)))
    assert plain <= len(steps(bled, "isolation")) <= plain + 2
    assert dead_failures(bled) == []


@pytest.mark.parametrize("way", [Isolation.FULL, Isolation.PLUG])
def test_a_way_that_nobody_would_go_is_refused_in_words(way: Isolation, monkeypatch: pytest.MonkeyPatch) -> None:
    harness = shipped("starter")[0]
    monkeypatch.setitem(isolation.MOST_GROUPS, way, 8)
    with pytest.raises(InputError, match="at most 8 conducting groups, and there are 9") as caught:
        make_plan(harness, METER, Ways(way))
    assert "near" in caught.value.hint
    make_plan(harness, METER, Ways())


def test_a_feed_that_is_joined_to_what_is_clipped_keeps_power_out_whatever_it_is_joined_to() -> None:
    # joined to chassis it reads apart from the other feed, and is no less a short
    harness, _, _ = shipped("survey_launch")
    found = {step.red: step for step in make_plan(harness, METER, Ways(Isolation.PLUG)).steps if step.state.links}
    step = found["P115-5"]
    assert step.state.links == {"P100-A"}
    judgement, asked = judged(step, ohms(0.4))
    assert (judgement.verdict.outcome, judgement.verdict.reason) == (Outcome.FAIL, "joined")
    assert len(asked) == 1


def test_power_hangs_on_the_feeds_alone_where_a_reading_failed_against_many() -> None:
    step = next(s for s in steps(shipped("survey_launch")[0], "isolation").values() if len(s.state.links) > 3)
    assert step.settings["feeds"] == ["P100-A", "P115-5"]
    found, asked = judged(step, ohms(0.4), over(), over())
    assert (found.verdict.outcome, found.verdict.reason) == (Outcome.FAIL, "joined_to_no_feed")
    assert [(request.red, request.black, request.state) for request in asked[1:]] == [
        (step.red, "P100-A", BenchState()),
        (step.red, "P115-5", BenchState()),
    ]
    for second in (ohms(0.4), ohms(1.005e6), Reading.none("link lost", "ohm")):
        assert judged(step, ohms(0.4), second)[0].verdict.reason == "joined"
    assert judged(step, over())[0].verdict.outcome is Outcome.PASS


def test_the_supply_to_its_ground_and_to_the_other_feed() -> None:
    made = steps(shipped("survey_launch")[0], "supply_to_ground")
    assert {(s.red, s.black) for s in made.values()} == {
        ("P100-A", "P100-C"),
        ("P100-A", "P115-5"),
        ("P115-5", "P115-9"),
    }
    step = made["supply_to_ground:P100-A:P100-C"]
    assert said(step, over()) == ("PASS", "in_band")
    found = verdict(step, ohms(0.3))
    assert (found.outcome, found.reason) == (Outcome.FAIL, "joined")
    assert "do not switch on" in found.text


def test_each_piece_of_the_bus_to_each_rail() -> None:
    """The sonar head and the logger join the bus inside: units out it is in three pieces, of which two have a terminator
    that makes their two wires one group; three rails."""
    made = steps(shipped("survey_launch")[0], "can_to_rail")
    assert len(made) == (1 + 1 + 2) * 3
    for step in made.values():
        assert said(step, ohms(0.2)) == ("FAIL", "joined")
        assert said(step, over()) == ("PASS", "in_band")


# --- termination -------------------------------------------------------------------------------------------------

# A truck builder's text on J1939 (secondary): each terminator 110 to 130, the pair 50 to 70; 120 one missing,
# 40 three; a car maker's text (secondary): 0 to 5 the two wires joined.


def whole_bus() -> Step:
    """A bus of wire only, with both terminators on it: 60 ohm from everywhere."""
    harness = chain()
    runs = tuple(run for run in harness.runs if run.role not in (Role.CAN_H, Role.CAN_L))
    runs += (
        Run("H1", "P9-1", "P1-3", Role.CAN_H, 24, 1.0),
        Run("L1", "P9-2", "P1-4", Role.CAN_L, 24, 1.0),
        Run("H2", "P1-3", "P3-5", Role.CAN_H, 24, 1.0),
        Run("L2", "P1-4", "P3-6", Role.CAN_L, 24, 1.0),
    )
    return steps(replace(harness, runs=runs), "termination")["termination:P9-1:P9-2"]


@pytest.mark.parametrize(
    ("reading", "outcome", "reason"),
    [
        (60.2, "PASS", "in_band"),
        (57.0, "PASS", "in_band"),
        (64.0, "PASS", "in_band"),
        (120.0, "FAIL", "too_high"),
        (40.0, "FAIL", "too_low"),
        (30.0, "FAIL", "too_low"),
        (0.3, "FAIL", "too_low"),
        (5.0, "FAIL", "too_low"),
        (12e3, "FAIL", "too_high"),  # node inputs only
        (66.2, "UNSURE", "meter_cannot_tell"),
    ],
)
def test_a_bus_with_both_terminators(reading: float, outcome: str, reason: str) -> None:
    assert said(whole_bus(), ohms(reading)) == (outcome, reason)


def test_a_bus_that_is_open_on_both_sides() -> None:
    assert said(whole_bus(), over()) == ("FAIL", "open")


def test_the_band_lies_within_what_is_published_for_a_pair() -> None:
    step = whole_bus()
    assert step.band is not None
    assert step.band.low is not None
    assert step.band.high is not None
    assert 50 <= step.band.low < 60 < step.band.high <= 70
    assert step.band.low == pytest.approx(108 / 2, abs=0.5)  # ISO 11898-2's 108 and 132 for each (secondary page)
    assert step.band.high == pytest.approx(132 / 2, abs=0.6)
    assert "2 terminators" in step.band.source
    assert "secondary source" in step.band.source


def test_every_connector_of_the_bus_is_measured() -> None:
    """60 ohm at one place proves nothing of the others: one resistor of 60 reads the same (an engine maker's J1939
    text calls it a common mistake; secondary)."""
    made = steps(shipped("survey_launch")[0], "termination")
    del made["termination:can1:units_in"]
    at = [step.red.split("-")[0] for step in made.values()]
    assert sorted(at) == sorted(
        ["TB1", "P114", "P113", "P105", "P105", "P107", "P103", "P101", "P110", "P110", "P112", "P108", "P190"]
    )


def test_a_piece_without_terminator_must_be_open() -> None:
    step = step_of("termination:P103-3:P103-4")
    assert step.band is not None
    assert step.band.low == 1e6
    assert said(step, over()) == ("PASS", "in_band")
    assert said(step, ohms(120.0)) == ("FAIL", "not_apart")


# The value with units in is computed from node inputs of 40 kohm and both terminators: FACTS as above, 50 to 70.


@pytest.mark.parametrize(("profile", "adapter"), [("survey_launch", "P190"), ("starter", "P2")])
def test_the_whole_bus_is_read_with_the_units_in_and_the_supply_off(profile: str, adapter: str) -> None:
    """The starter's terminators are both inside units, so nothing else proves them."""
    harness = shipped(profile)[0]
    step = steps(harness, "termination")["termination:can1:units_in"]
    assert step.settings == {"bus": "can1", "whole_bus": True}
    assert step.stage is Stage.POWER
    assert step.state.on_unit == {ref for unit in harness.units.values() for ref in unit.connectors.values()}
    assert not step.state.supply_on
    assert (adapter in step.state.breakout) == bool(harness.connectors[adapter].unit)
    assert step.band is not None
    assert 50 < step.band.low < 60 < step.band.high < 70  # type: ignore[operator]
    assert said(step, ohms(59.5)) == ("PASS", "in_band")
    assert said(step, ohms(120.0)) == ("FAIL", "too_high")
    assert said(step, ohms(40.0)) == ("FAIL", "too_low")
    assert said(step, over()) == ("FAIL", "open")


def test_the_whole_bus_of_a_sound_bench_passes_and_a_lost_terminator_in_a_unit_fails() -> None:
    harness = shipped("starter")[0]
    step = step_of("termination:can1:units_in", "starter")
    assert said(step, read(BenchModel(harness), step))[0] == "PASS"
    assert said(step, read(BenchModel(harness, (MissingBridge("B1"),)), step)) == ("FAIL", "too_high")


# --- sound benches with planned runs, bleeders, relays and parallel parts -----------------------------------------------


def read(model: BenchModel, step: Step) -> Reading:
    model.set_state(step.state)
    value = model.ohms(step.red, step.black)
    return over() if value > METER.ohm_max else ohms(value - METER.lead_ohm)


def dead_failures(harness: Harness) -> list[tuple[str, str]]:
    """The dead steps that a sound bench of this harness fails, noise on."""
    model = BenchModel(harness, seed=3)
    made = [step for step in make_plan(harness).steps if step.stage is Stage.DEAD]
    found = [(step.id, verdict(step, read(model, step))) for step in made]
    return [(name, v.text) for name, v in found if v.outcome is Outcome.FAIL]


@pytest.mark.parametrize("wire", [r.wire for r in chain().runs])
def test_a_planned_run_fails_nothing_on_a_sound_bench(wire: str) -> None:
    made = chain()
    runs = tuple(replace(r, state=RunState.PLANNED) if r.wire == wire else r for r in made.runs)
    half = replace(made, runs=runs)
    assert dead_failures(half) == []
    assert not [step for step in make_plan(half).steps if wire in step.subject]


def test_a_bench_of_which_half_is_planned_fails_nothing() -> None:
    made = shipped("survey_launch")[0]
    runs = tuple(replace(r, state=RunState.PLANNED) if n % 2 else r for n, r in enumerate(made.runs))
    assert dead_failures(replace(made, runs=runs)) == []


def test_no_idle_level_of_a_talker_whose_wire_is_planned() -> None:
    made = chain()
    runs = tuple(replace(r, state=RunState.PLANNED) if r.wire == "W51" else r for r in made.runs)
    left = steps(replace(made, runs=runs), "rs232_idle")
    assert set(left) == {"rs232_idle:link:U2"}  # tapped at its own connector, where it is there whatever is wired


@pytest.mark.parametrize("kind", [PartKind.RELAY, PartKind.DIODE])
def test_what_is_open_at_rest_is_open_to_the_plan_and_to_the_bench(kind: PartKind) -> None:
    made = chain()
    part = Part("K1", kind, "P1-7", "P1-8", 0.1)
    runs = tuple(r for r in made.runs if r.role is not Role.RS232_TX)
    assert dead_failures(replace(made, runs=runs, parts=(*made.parts, part))) == []


BLEEDER = Part("R9", PartKind.RESISTOR, "CB1-2", "P1-2", 10e3)


def test_a_planned_bleeder_lets_power_in() -> None:
    made = replace(chain(), parts=(*chain().parts, BLEEDER))
    step = steps(made, "supply_to_ground")["supply_to_ground:P100-1:P100-2"]
    assert step.band is not None
    assert step.band.low == pytest.approx(8000.0, rel=1e-3)
    assert "planned parts" in step.band.source
    assert "1e+04 ohm" in step.band.source
    assert "0.8" in step.band.source
    assert said(step, ohms(10e3))[0] == "PASS"
    assert said(step, ohms(5e3)) == ("FAIL", "joined")
    assert said(step, ohms(0.3)) == ("FAIL", "joined")
    assert dead_failures(made) == []


def test_a_network_that_is_planned_as_a_short_is_still_one() -> None:
    """Whatever is planned, less than the profile's supply_to_ground_ohm lets no power in."""
    made = replace(chain(), parts=(*chain().parts, replace(BLEEDER, ohm=2.0)))
    step = steps(made, "supply_to_ground")["supply_to_ground:P100-1:P100-2"]
    assert step.band is not None
    assert step.band.low == 20.0
    assert "supply_to_ground_ohm, 20 ohm" in step.band.source
    assert said(step, ohms(2.0)) == ("FAIL", "joined")
    allowed = replace(made, limits=Limits(supply_to_ground_ohm=1.0))
    assert said(steps(allowed, "supply_to_ground")[step.id], ohms(2.0 + 0.5))[0] == "PASS"


def test_a_planned_resistor_from_the_bus_to_ground() -> None:
    made = replace(chain(), parts=(*chain().parts, Part("R8", PartKind.RESISTOR, "P1-3", "P1-2", 30e3)))
    assert dead_failures(made) == []
    low = [s.band.low for s in steps(made, "can_to_rail").values() if s.black == "GND1" and s.band is not None]
    assert min(low) == pytest.approx(24e3, rel=0.01)  # type: ignore[type-var]


@pytest.mark.parametrize("ohm", [1.3e6, 10e6])
def test_a_large_bleeder_leaves_the_isolation_limit(ohm: float) -> None:
    made = replace(chain(), parts=(*chain().parts, replace(BLEEDER, ohm=ohm)))
    step = steps(made, "supply_to_ground")["supply_to_ground:P100-1:P100-2"]
    assert step.band is not None
    assert step.band.low == 1e6
    assert "isolation_ohm" in step.band.source


def beside(*extra: Part) -> Harness:
    return replace(chain(), parts=(*chain().parts, *extra))


def test_of_two_protectors_in_parallel_each_is_proved_with_the_other_out() -> None:
    twins = beside(Part("CB2", PartKind.PROTECTOR, "CB1-1", "CB1-2", 0.02))
    made = steps(twins, "part_value")
    assert dead_failures(twins) == []
    for ref, other in (("CB1", "CB2"), ("CB2", "CB1")):
        step = made[f"part_value:{ref}"]
        assert step.state.opened == {other}
        assert other in step.note
        assert said(step, ohms(0.1))[0] == "PASS"
        assert said(step, over()) == ("FAIL", "open")
        assert said(step, read(BenchModel(twins, (ProtectorOpen(ref),)), step)) == ("FAIL", "open")
        assert said(made[f"part_value:{ref}:out"], ohms(0.1)) == ("FAIL", "bridged")


def test_only_the_part_that_hides_it_is_pulled() -> None:
    """A third protector elsewhere stays in."""
    far = Part("CB3", PartKind.PROTECTOR, "P1-9", "P2-9", 0.02)
    made = steps(beside(Part("CB2", PartKind.PROTECTOR, "CB1-1", "CB1-2", 0.02), far), "part_value")
    assert made["part_value:CB1"].state.opened == {"CB2"}
    assert made["part_value:CB3"].state.opened == frozenset()


def test_a_part_that_a_wire_hides_is_not_called_proved() -> None:
    made = steps(beside(Part("CB2", PartKind.PROTECTOR, "P1-1", "P2-1", 0.02)), "part_value")
    step = made["part_value:CB2"]  # W11 and W12 lie beside it
    found = verdict(step, ohms(0.05))
    assert (found.outcome, found.reason) == (Outcome.UNSURE, "cannot_prove")
    assert "hides it" in found.text
    assert "part_value:CB2:out" not in made
    small = steps(beside(Part("R1", PartKind.RESISTOR, "P1-1", "P2-1", 100.0)), "part_value")["part_value:R1"]
    assert said(small, ohms(0.05)) == ("UNSURE", "cannot_prove")


def test_a_protector_with_a_planned_bleeder_across_it() -> None:
    made = beside(Part("R1", PartKind.RESISTOR, "CB1-1", "CB1-2", 10e3))
    assert dead_failures(made) == []
    out = steps(made, "part_value")["part_value:CB1:out"]
    assert said(out, ohms(10e3))[0] == "PASS"
    assert said(out, ohms(0.1)) == ("FAIL", "bridged")


# --- the text of a limit gives the limit -----------------------------------------------------------------------------------


def told_limit(source: str) -> float:
    """What the numbers in the text of a continuity limit come to, by the words between them."""
    if middle := re.search(r"([\d.]+) ohm with the run and ([\d.]+) ohm without it; the middle of the two", source):
        return (float(middle[1]) + float(middle[2])) / 2
    added = re.search(r"([\d.]+) ohm; plus ([\d.]+) ohm for probes and leads", source)
    assert added is not None, source
    return float(added[1]) + float(added[2])


@settings(max_examples=30)
@given(
    first_m=st.floats(0.1, 400.0),
    round_m=st.floats(0.1, 400.0),
    end=st.sampled_from(["GND1", "P3-9"]),
)
def test_the_numbers_in_the_text_add_up_to_the_limit(first_m: float, round_m: float, end: str) -> None:
    """Alone, beside a longer way round, hidden and lifted, hidden between crimped contacts."""
    runs = (
        Run("X1", "P1-8", end, Role.SIGNAL, 22, first_m),
        Run("X2", "P1-8", "P2-9", Role.SIGNAL, 22, round_m),
        Run("X3", "P2-9", end, Role.SIGNAL, None, round_m),
    )
    made = chain()
    for step in steps(replace(made, runs=(*made.runs, *runs)), "continuity").values():
        assert step.band is not None
        assert step.band.high is not None
        assert told_limit(step.band.source) == pytest.approx(step.band.high, abs=2e-3), step.band.source
        last = float(re.findall(r"([\d.]+) ohm$", step.band.source)[0])
        assert last == pytest.approx(step.band.high, abs=1e-3)


@pytest.mark.parametrize("profile", ["starter", "survey_launch"])
def test_the_numbers_of_the_shipped_profiles_add_up(profile: str) -> None:
    kinds = set()
    for step in steps(shipped(profile)[0], "continuity").values():
        assert step.band is not None
        assert step.band.high is not None
        assert told_limit(step.band.source) == pytest.approx(step.band.high, abs=2e-3)
        kinds.add("run alone" in step.band.source)
    assert (True in kinds) == (profile == "survey_launch")


# --- the rule behind all of them -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "above", "outcome"),
    [
        (None, 2.0, 40e6, Outcome.FAIL),
        (None, 2.0, math.nan, Outcome.FAIL),  # OL of an unknown range: more than any limit that it was asked against
        (None, 50e6, 40e6, Outcome.UNSURE),
        (1e6, None, 40e6, Outcome.PASS),
        (1e6, None, 200e3, Outcome.UNSURE),
        (1e6, None, math.nan, Outcome.UNSURE),
        (1e6, 30e6, 40e6, Outcome.FAIL),
        (None, None, 40e6, Outcome.PASS),
    ],
)
def test_over_range_against_a_band(low: float | None, high: float | None, above: float, outcome: Outcome) -> None:
    assert over_range(Band(low, high, "ohm", "test"), over(above=above)) is outcome


def test_a_step_without_a_band_can_not_be_judged_by_one() -> None:
    step = replace(step_of("continuity:W603"), band=None)
    with pytest.raises(ValueError, match="no band"):
        judged(step, ohms(1.0))
