"""A supply that cuts off: said of the unit that went in, never taken for a dead circuit, and off when it is over."""

from __future__ import annotations

import pytest
from model_bench import job

from benchcheck.words.errors import OverCurrent
from benchcheck.words.event import EventKind
from benchcheck.words.reading import ReadingState
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome


def cutting_off(made, unit: str | None):
    """The supply's `on` cuts off once `unit` is in (None: always), as bench.supply.Supply does."""
    supply, model = made.bench.supply, made.bench.model
    inner, ramps = supply.on, []

    def on(*, ramp=False):
        ramps.append(ramp)
        refs = {c for c, con in model.harness.connectors.items() if con.unit == unit}
        if unit is None or refs & model.state.on_unit:
            supply.off()
            raise OverCurrent("has switched itself off; its limit is 9 A", limit_a=9.0)
        inner(ramp=ramp)

    supply.on = on
    return ramps


def units_of(made) -> list[str]:
    return [step.subject[0] for step in made.runner.plan.of_stage(Stage.POWER) if step.check == "unit_current"]


def test_the_unit_that_goes_in_fails_and_stays_out():
    made = job("starter")
    first, *others = units_of(made)
    cutting_off(made, first)
    board = made.run([Stage.DEAD, Stage.POWER])
    result = board.results[f"unit_current:{first}"]
    assert (result.outcome, result.verdict.reason) == (Outcome.FAIL, "too_much")
    assert "has switched itself off; its limit is 9 A: the unit draws more" in result.verdict.text
    assert result.reading.state is ReadingState.OVER
    kept_out = {ref for ref, connector in made.bench.model.harness.connectors.items() if connector.unit == first}
    for other in others:
        assert board.results[f"unit_current:{other}"].outcome is Outcome.PASS
    states = [body["state"] for body in made.record.bodies(EventKind.STATE)]
    assert not any(state["supply_on"] and kept_out & set(state["on_unit"]) for state in states)
    assert not made.bench.model.supply.on


def test_volts_without_a_supply_are_unsure_and_not_dead():
    made = job("starter")
    cutting_off(made, None)
    board = made.run([Stage.DEAD, Stage.POWER])
    done = [r for s in made.runner.plan.of_stage(Stage.POWER) if (r := board.results.get(s.id)) is not None]
    assert {result.outcome for result in done} <= {Outcome.UNSURE, Outcome.SKIPPED, Outcome.FAIL}
    assert all(r.step.check == "unit_current" for r in done if r.outcome is Outcome.FAIL)
    volts = next(r for r in done if r.step.check == "feed_volts")
    assert volts.outcome is Outcome.UNSURE
    assert "the supply has switched itself off" in volts.verdict.text
    assert made.squawks == []
    assert all(not body["state"]["supply_on"] for body in made.record.bodies(EventKind.STATE))


def test_a_supply_that_trips_between_two_readings_is_found_out():
    made = job("starter")
    said = iter(["", "", "has switched itself off; its limit is 9 A"])
    made.bench.supply.cut_off = lambda: next(said, "")
    board = made.run([Stage.DEAD, Stage.POWER])
    lost = [r for r in board.results.values() if "read meanwhile" in r.verdict.text]
    assert [r.outcome for r in lost] == [Outcome.UNSURE]
    # and the next one has power again
    others = [r for s in made.runner.plan.of_stage(Stage.POWER) if (r := board.results[s.id]) is not lost[0]]
    assert {r.outcome for r in others} == {Outcome.PASS, Outcome.SKIPPED}
    assert sum(r.step.check == "feed_volts" and r.outcome is Outcome.PASS for r in others) > 1


def test_what_is_plugged_for_the_first_time_is_powered_in_steps():
    made = job("starter")
    ramps = cutting_off(made, "nobody")
    made.run([Stage.DEAD, Stage.POWER])
    states = [
        tuple(body["state"]["on_unit"]) for body in made.record.bodies(EventKind.STATE) if body["state"]["supply_on"]
    ]
    assert len(ramps) == len(states)
    seen: set[object] = set()
    bodies = [body["state"] for body in made.record.bodies(EventKind.STATE) if body["state"]["supply_on"]]
    for state, ramp in zip(bodies, ramps, strict=True):
        key = str(state)
        assert ramp == (key not in seen)
        seen.add(key)


@pytest.mark.parametrize("key", ["peak_a", "peak_of", "peak_within_s"])
def test_the_inrush_of_a_unit_goes_into_its_reading(key):
    made = job("starter")
    inner = made.bench.supply.amps

    def amps():
        reading = inner()
        return type(reading)(
            reading.state, "A", reading.value, reading.uncertainty,
            detail={"peak_a": 2.5, "peak_of": 5, "peak_within_s": 0.2, "ramped": True},
        )  # fmt: skip

    made.bench.supply.amps = amps
    board = made.run([Stage.DEAD, Stage.POWER])
    for unit in units_of(made):
        assert key in board.results[f"unit_current:{unit}"].reading.detail
