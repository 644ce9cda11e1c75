"""Currents and drops under the declared loads."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import review_bay
from sample_profile import sample

from benchcheck.harness.feed_currents import FeedCurrents
from benchcheck.harness.model import Harness
from benchcheck.harness.reading.read_harness import read_harness
from benchcheck.harness.review.rule import review
from benchcheck.harness.wire import ohm_per_m
from benchcheck.profile.load import load_profile

FOOT_M = 0.3048


def bay(*changes: tuple[str, str, str]) -> Harness:
    files = dict(review_bay.FILES)
    for file, old, new in changes:
        assert files[file].count(old) == 1, old
        files[file] = files[file].replace(old, new)
    return read_harness("bay", files, databases={"net.dbc": review_bay.DATABASE})


def amps(currents: FeedCurrents) -> dict[str, float]:
    return {conductor.name: abs(conductor.amps) for conductor in currents.conductors}


def test_a_step_up_converter() -> None:
    # Iin = Iout x Vout / (efficiency x Vin): 28 V 2 A at 90 % from 14 V is 4.44 A (derived)
    (converted,) = FeedCurrents(bay()).converted
    assert converted.input_a == pytest.approx(4.444, abs=5e-4)
    assert "2 A x 28 V / (0.9 x 14 V) = 4.44 A" in converted.arithmetic


def test_a_converter_that_gives_nothing_draws_nothing() -> None:
    harness = bay(("units/head.toml", "load_a = 2.0", "load_a = 0.0"))
    currents = FeedCurrents(harness)
    assert currents.converted[0].input_a == 0.0
    assert currents.own_branch(currents.converted[0]) == ()
    assert review(harness) == ()


def test_currents_add_up_there_and_back() -> None:
    found = amps(FeedCurrents(bay()))
    assert found["W2"] == found["W3"] == found["W4"] == found["W7"] == 0.5
    assert found["W1"] == found["CB1"] == pytest.approx(1.5)
    assert found["W5"] == found["CB2"] == found["W11"] == pytest.approx(40 / 9)
    assert found["W6"] == found["W10"] == found["W12"] == pytest.approx(2.0)  # the converter's output and its return
    assert found["W13"] == pytest.approx(1.5 + 40 / 9)  # and what the supply gives comes back to it
    assert found["W20"] == found["W32"] == 0.0


def test_the_handbooks_drop_comes_out_of_a_harness() -> None:
    # AC 43.13-1B table 11-8: 10 AWG, 39 ft, 20 A loses 0.983 V (printed .98). Here as the one power wire of a unit.
    harness = bay(
        ("pins.csv", "W2,SP1,PA-1,22,0.5", f"W2,SP1,PA-1,10,{39 * FOOT_M:.4f}"),
        ("units/node.toml", "load_a = 0.5", "load_a = 20.0"),
    )
    currents = FeedCurrents(harness)
    load = next(load for load in currents.loads if load.contact == "PA-1")
    way = {conductor.name: conductor for conductor in currents.supply_way(load)}
    assert list(way) == ["CB1", "W1", "W2"]
    assert way["W2"].drop_v == pytest.approx(0.983, abs=5e-4)
    assert currents.supply_drop_v(load) == pytest.approx(sum(conductor.drop_v for conductor in way.values()))
    assert currents.return_drop_v(load) == pytest.approx(sum(c.drop_v for c in currents.return_way(load)))


def test_warm_wire_loses_more() -> None:
    # AC 43.13-1B page 11-22: a wire at 70 degrees may be 0.836 times as long for the same drop
    cold = FeedCurrents(bay())
    warm = FeedCurrents(replace(bay(), ambient_c=70.0))
    assert cold.supply_drop_v(cold.loads[0]) / warm.supply_drop_v(warm.loads[0]) == pytest.approx(0.836, abs=5e-4)


def test_a_wire_of_the_example_is_found_too_thin() -> None:
    # AC 43.13-1B page 11-26, example 1: 28 V, 20 A, 50 ft with the ground wire: 10 AWG loses 1.26 V of the 1 V allowed
    # (and No. 8 loses 0.70 V). 2 A through ten times the length is the same.
    for awg, found in ((10, True), (8, False)):
        half = f"{250 * FOOT_M:.4f}"
        changes = (
            ("pins.csv", "W6,P5-C,PD-1,20,0.5", f"W6,P5-C,SPX,{awg},{half},power,,,,\nW61,SPX,PD-1,20,0.0"),
            ("pins.csv", "W10,PD-2,GND1,20,0.5", f"W10,PD-2,SPY,20,0.0,ground,,,,\nW62,SPY,GND1,{awg},{half}"),
            ("pins.csv", "W12,P5-D,GND1,20,0.5", "W12,P5-D,GND1,20,0.0"),
            (
                "harness.toml",
                '[[units]]\nref = "A"',
                '[[connectors]]\nref = "SPX"\nfamily = "splice"\n[[connectors]]\nref = "SPY"\nfamily = "splice"\n[[units]]\nref = "A"',
            ),
        )
        harness = bay(*changes)
        drops = [finding for finding in review(harness) if finding.code == "voltage_drop"]
        assert bool(drops) is found
        currents = FeedCurrents(harness)
        load = next(load for load in currents.loads if load.feed.name == "28V")
        total = currents.supply_drop_v(load) + currents.return_drop_v(load)
        assert total == pytest.approx({10: 1.26, 8: 0.70}[awg], abs=1e-3)
        if found:
            assert "1.26 V of 28 V, more than 1 V" in drops[0].text
            assert f"2 A x {250 * FOOT_M * ohm_per_m(10):.3g} ohm" in drops[0].text


def test_a_feed_that_is_joined_to_another_is_left_alone() -> None:
    joined = bay(
        ("pins.csv", "W6,P5-C,PD-1", "W14,SP1,PD-1,20,0.5,power,,,,\nW6,P5-C,PD-1"),
        ("harness.toml", 'ref = "PD"\n', 'ref = "PD"\ndoubles = ["1"]\n'),
    )
    currents = FeedCurrents(joined)
    assert currents.loads == []
    assert all(conductor.amps == 0 for conductor in currents.conductors)


def test_what_lies_behind_a_protector() -> None:
    harness = bay(("harness.toml", 'from = "TB1-1"\nto = "TB1-2"', 'from = "TB1-2"\nto = "TB1-1"'))
    currents = FeedCurrents(harness)
    assert [currents.downstream(part) for part in harness.parts[:2]] == ["TB1-2", "TB1-3"]


def test_the_demo_as_its_own_test_reckons_it() -> None:
    """Doubled grounds, several ground contacts a unit, a converter: the figures that the profile's test has by itself."""
    launch = load_profile(Path(__file__).parents[2] / "profiles" / "survey_launch")
    currents = FeedCurrents(launch)
    found = amps(currents)
    loads = sum(load.entry.load_a for load in currents.loads if load.feed.name == "24V main")
    sensors = sum(load.amps for load in currents.loads if load.feed.name == "12V sensors")
    main_a = pytest.approx(loads + sensors * 12 / (0.9 * 24))
    assert found["SW1"] == main_a
    assert found["W201"] == main_a
    assert found["W202"] == pytest.approx(found["W203"])  # two straps alike
    assert found["W208"] == pytest.approx(found["W209"])
    assert found["W208"] + found["W209"] + found["W210"] == pytest.approx(2.0)  # the head's 2 A come back


def test_loads_of_the_sample() -> None:
    found = amps(FeedCurrents(sample()))
    assert found["W11"] == 1.0
    assert found["W2"] == pytest.approx(1.0 * 12 / (0.9 * 24))
