"""Whether a run's resistance is in band: with four wires, only where the profile asks, and never guessed with two."""

from __future__ import annotations

from dataclasses import replace

import pytest
from model_bench import job_on, shipped
from sample_profile import changed, faults, sample

from benchcheck.checks.kind import Context, all_kinds
from benchcheck.harness.model import InBand, Role, Run
from benchcheck.plan.plan import make_plan
from benchcheck.simulator.faults import HighResistance
from benchcheck.words.meter import MeterRange, MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

KIND = all_kinds()["run_resistance"]
KELVIN = MeterSpec(four_wire=True, four_wire_ranges=(MeterRange(0.2, 1e-6), MeterRange(20.0, 1e-4)), ohm_counts=5)
HARNESS = replace(shipped("starter")[0], in_band=(InBand(("W1", "W4")),))


def planned(meter, harness=HARNESS):
    return make_plan(harness, meter).by_id


def read(value, uncertainty=1e-5, wires=4):
    return Reading(ReadingState.VALUE, "ohm", value, uncertainty, detail={"wires": wires})


def test_only_the_runs_that_the_profile_names():
    assert {name for name in planned(KELVIN) if name.startswith("run_resistance")} == {
        "run_resistance:W1",
        "run_resistance:W4",
    }
    assert not any(name.startswith("run_resistance") for name in shipped("starter")[1].by_id)


def test_the_step_and_its_limit():
    step = planned(KELVIN)["run_resistance:W4"]
    # P2-9 to the stud GND1, 20 AWG, 0.6 m: 9.88 ohm per 1000 ft (AC 43.13-1B table 11-9), 10 percent longer at most,
    # a D-sub contact of size 20 at most 30 mohm (MIL-DTL-26482, secondary source), a lug 3 mohm (AC 43.13-1B 11-189)
    assert step.band.high == pytest.approx(9.88 / 304.8 * 0.66 + 0.030 + 0.003)
    assert step.band.low == pytest.approx(10.371 / 1216 / 0.3048 * 0.54, rel=1e-3)
    assert step.settings["four_wire"] is True
    assert step.unresolved == ""
    asked = next(KIND.measure(step))
    assert asked.four_wire


def test_a_meter_with_two_wires_is_told_before_anybody_probes():
    step = planned(MeterSpec())["run_resistance:W4"]
    assert step.unresolved.startswith("this meter can't tell: band 15.1 mohm to 54.4 mohm, uncertainty ± 0.3")
    assert step.note.endswith(step.unresolved)


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        (read(0.030), ("PASS", "in_band")),
        (read(0.090), ("FAIL", "too_high")),
        (read(0.009), ("FAIL", "too_low")),
        (read(0.0544, 0.001), ("UNSURE", "cannot_resolve")),
        (read(0.030, 0.3, wires=2), ("UNSURE", "cannot_resolve")),
        (read(0.030, 1e-5, wires=2), ("UNSURE", "cannot_resolve")),  # whatever such a meter claims
        (read(5.0, 0.3, wires=2), ("FAIL", "too_high")),  # that much is seen with two as well
        (Reading(ReadingState.OVER, "ohm", over_above=20.0, detail={"wires": 4}), ("FAIL", "open")),
        (Reading.none("no answer", "ohm"), ("UNSURE", "no_reading")),
    ],
)
def test_verdicts(reading, said):
    verdict = KIND.judge(planned(KELVIN)["run_resistance:W4"], reading)
    assert (verdict.outcome.value, verdict.reason) == said


def test_what_lies_beside_is_lifted_off_or_counted_in():
    twin = Run("W4B", "P2-9", "GND1", Role.GROUND, 20, 0.6)
    beside = replace(HARNESS, runs=(*HARNESS.runs, twin))
    step = planned(KELVIN, beside)["run_resistance:W4"]
    assert step.state.lifted == {"W4@GND1"}
    assert (step.red, step.black) == ("P2-9", "W4@GND1")
    assert step.band == planned(KELVIN)["run_resistance:W4"].band
    crimped = Run("W1B", "TB1-2", "P1-1", Role.POWER, 22, 1.2)
    both = planned(KELVIN, replace(HARNESS, runs=(*HARNESS.runs, crimped)))["run_resistance:W1"]
    alone = planned(KELVIN)["run_resistance:W1"]
    assert not both.state.lifted
    assert both.band.high < alone.band.high
    assert "it is in the limit" in both.note


def test_on_a_bench_with_four_wires_sound_runs_pass_and_a_poor_crimp_is_a_squawk():
    plan, context = make_plan(HARNESS, KELVIN), Context(HARNESS, KELVIN)
    sound = job_on(HARNESS, plan, context, meter=KELVIN)
    board = sound.run([Stage.DEAD])
    assert {board.outcome(f"run_resistance:{wire}") for wire in ("W1", "W4")} == {Outcome.PASS}
    assert sound.squawks == []
    # 0.15 ohm too much: continuity has no eye for it
    poor = job_on(HARNESS, plan, context, [HighResistance("W4", 0.15)], meter=KELVIN)
    board = poor.run([Stage.DEAD])
    assert board.outcome("continuity:W4") is Outcome.PASS
    assert board.outcome("run_resistance:W4") is Outcome.FAIL
    assert poor.squawks == [("high_resistance", ("W4",))]


def test_with_two_wires_nothing_is_claimed():
    handheld = MeterSpec()
    made = job_on(HARNESS, make_plan(HARNESS, handheld), Context(HARNESS, handheld))
    board = made.run([Stage.DEAD])
    result = board.results["run_resistance:W4"]
    assert (result.outcome, result.verdict.reason) == (Outcome.UNSURE, "cannot_resolve")
    assert "with two wires" in result.verdict.text
    assert made.squawks == []


# --- the table in harness.toml ----------------------------------------------------------------------------------------

TABLE = '[[in_band]]\nruns = ["W1", "W2"]\nlength_percent = 5.0\ncontact_ohm = 0.01\n\n[closeout]'
H = "harness.toml"


def test_read_from_the_profile():
    (asked,) = sample((H, "[closeout]", TABLE)).in_band
    assert (asked.runs, asked.length_percent, asked.contact_ohm) == (("W1", "W2"), 5.0, 0.01)
    assert sample().in_band == ()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"W2"]', '"W99"]', "runs: 'W99' is in no row of pins.csv"),
        ('"W2"]', '"W1"]', "'W1' is listed twice"),
        ('"W2"]', '"S1"]', "no limits can be computed for 'S1', which has no"),
        ("length_percent", "lenght_percent", "unknown key 'lenght_percent'"),
        ("= 0.01", "= -0.01", "contact_ohm"),
        ('runs = ["W1", "W2"]', "runs = []", "runs"),
    ],
)
def test_faults_of_the_table(old, new, said):
    texts = [fault.text for fault in faults((H, "[closeout]", TABLE.replace(old, new)))]
    assert any(said in text for text in texts), texts


def test_a_run_is_asked_for_once():
    twice = TABLE.replace("[closeout]", '[[in_band]]\nruns = ["W2"]\n\n[closeout]')
    assert changed((H, "[closeout]", twice))
    assert [fault.text for fault in faults((H, "[closeout]", twice))] == ["runs: 'W2' is in two tables"]
