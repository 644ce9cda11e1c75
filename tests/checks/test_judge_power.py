"""The power stage's verdicts: volts, drop, nothing elsewhere, current, RS-232 and CAN levels."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from judging import METER, amps, judged, over, said, step_of, verdict, volts
from model_bench import shipped

from benchcheck.checks.kind import Context, all_kinds
from benchcheck.harness.wire import allowed_drop_v
from benchcheck.words.reading import Reading
from benchcheck.words.step import Quantity
from benchcheck.words.verdict import Band, Outcome


def test_feed_volts() -> None:
    step = step_of("feed_volts:P101-1:P101-13")  # 24 V, 10 percent
    assert step.band is not None
    assert (step.band.low, step.band.high) == pytest.approx((21.6, 26.4))
    assert said(step, volts(24.1)) == ("PASS", "in_band")
    assert said(step, volts(0.02)) == ("FAIL", "no_volts")
    assert said(step, volts(-24.0)) == ("FAIL", "reversed")
    assert said(step, volts(12.0)) == ("FAIL", "wrong_volts")
    assert said(step, volts(28.5)) == ("FAIL", "wrong_volts")
    assert said(step, volts(26.35)) == ("UNSURE", "meter_cannot_tell")
    assert said(step, volts(21.65)) == ("UNSURE", "meter_cannot_tell")
    assert "do not plug" in verdict(step, volts(-24.0)).text


def test_feed_volts_over_range_is_not_a_pass() -> None:
    # OL on a volts range of unknown end: more than any band that ends
    assert said(step_of("feed_volts:P101-1:P101-13"), over("V", float("nan")))[0] != "PASS"


def test_feeds_are_read_with_units_out() -> None:
    step = step_of("feed_volts:P101-1:P101-13")
    assert step.state.on_unit == frozenset()
    made = step_of("feed_volts:P104-1:P104-6")  # the converter's 12 V
    assert made.state.on_unit == {"P115"}


# --- drop --------------------------------------------------------------------------------------------------------


def test_the_allowed_drop_is_in_proportion_to_the_handbook() -> None:
    """AC 43.13-1B table 11-6, continuous: 0.5 V of 14 V and 1 V of 28 V (the figures 1, 0.5, 4 and 7 are the drop columns
    of tables 11-7 and 11-8); volts that it lacks by its smallest ratio, 4 V of 115 V."""
    assert allowed_drop_v(14.0) == 0.5
    assert allowed_drop_v(28.0) == 1.0
    assert allowed_drop_v(24.0) == pytest.approx(24.0 * 4 / 115)
    for profile in ("starter", "survey_launch"):
        for step in shipped(profile)[1].steps:
            if step.check == "feed_drop":
                assert step.band is not None
                assert step.band.high is not None
                nominal = 12.0 if step.subject[3] == "12V sensors" else 24.0
                assert step.band.high <= nominal / 28 + 1e-9
                assert "AC 43.13-1B" in step.band.source


def test_the_expected_drop_is_amperes_times_the_way() -> None:
    """The handbook's own way of reckoning: ohms per foot times feet times amperes, the return counted with it."""
    harness, _, context = shipped("starter")
    step = step_of("feed_drop:P1-1:P1-2", "starter")
    # W1 1.2 m AWG 22 there, W3 1.2 m AWG 22 back (16.20 ohm per 1000 ft), four crimps, CB1 of 0.05 ohm; 0.3 A
    expected = 0.3 * (2.4 * 16.20 / 304.8 + 4 * 0.003 + 0.05)
    assert f"= {expected:.3f} V" in (step.band.source if step.band else "")
    assert step.band is not None
    assert step.band.high == pytest.approx(expected * 1.3 + 0.1, abs=1e-3)
    assert context.harness is harness


def test_the_drop_is_the_difference_of_two_readings_under_load() -> None:
    step = step_of("feed_drop:P1-1:P1-2", "starter")
    found, asked = judged(step, volts(24.00), volts(23.95), amps(0.3))
    assert [(r.red, r.black) for r in asked] == [("TB1-1", "TB1-4"), ("P1-1", "P1-2"), ("", "")]
    assert [r.quantity for r in asked] == [Quantity.VOLTS, Quantity.VOLTS, Quantity.AMPS]
    assert {(r.load_a, r.load_at) for r in asked} == {(0.3, ("P1-1", "P1-2"))}
    assert found.reading.value == pytest.approx(0.05)
    # the gain error of one meter is common to both: its percent falls out, its counts stay twice
    assert found.reading.uncertainty == pytest.approx(0.05 * METER.volt_percent / 100 + 2 * METER.volt_floor)
    assert found.verdict.outcome is Outcome.PASS


def test_a_joint_of_an_ohm_is_seen_under_load() -> None:
    step = step_of("feed_drop:P104-1:P104-6")  # 0.3 A
    assert said(step, volts(12.0), volts(12.0 - 0.06), amps(0.4))[0] == "PASS"
    assert said(step, volts(12.0), volts(12.0 - 0.06 - 1.2 * 0.3), amps(0.4)) == ("FAIL", "too_much")


def test_a_drop_without_a_feed_or_without_its_load_proves_nothing() -> None:
    step = step_of("feed_drop:P104-1:P104-6")
    assert said(step, volts(0.0), volts(0.0), amps(0.4)) == ("UNSURE", "feed_dead")
    assert said(step, volts(12.0), volts(12.0), amps(0.01)) == ("UNSURE", "no_load")
    assert said(step, volts(12.0), volts(12.9), amps(0.4)) == ("FAIL", "too_much")  # more than the source has


def test_a_drop_near_its_limit_is_unsure() -> None:
    step = step_of("feed_drop:P104-1:P104-6")
    assert step.band is not None
    assert step.band.high is not None
    assert said(step, volts(12.0), volts(12.0 - step.band.high), amps(0.4)) == ("UNSURE", "meter_cannot_tell")


@pytest.mark.parametrize("lost", [0, 1, 2])
def test_half_a_drop_is_none(lost: int) -> None:
    answers = [volts(24.0), volts(24.0), amps(0.3)]
    answers[lost] = Reading.none("no answer", "V")
    assert said(step_of("feed_drop:P1-1:P1-2", "starter"), *answers)[0] == "UNSURE"


# --- nothing elsewhere ---------------------------------------------------------------------------------------------


def test_no_volts_elsewhere() -> None:
    step = step_of("no_volts:P101-16")
    assert step.band == Band(-0.3, 0.3, "V", "profile limit near_zero_v")
    assert said(step, volts(0.01)) == ("PASS", "in_band")
    assert said(step, volts(24.0)) == ("FAIL", "live")
    assert said(step, volts(-24.0)) == ("FAIL", "live")
    assert said(step, volts(0.29)) == ("UNSURE", "meter_cannot_tell")
    assert "do not plug the unit in" in verdict(step, volts(5.0)).text


def test_every_wired_contact_of_a_unit_is_read_in_the_power_stage() -> None:
    for profile in ("starter", "survey_launch"):
        harness, plan, context = shipped(profile)
        read = {c for s in plan.steps if s.check in ("feed_volts", "no_volts") for c in (s.red, s.black)}
        for connector in harness.connectors.values():
            for pin in connector.contacts if connector.unit else ():
                contact = f"{connector.ref}-{pin}"
                if context.nets.net_of(contact) is not None and contact != "P115-5":  # the converter's own output
                    assert contact in read, contact


def test_a_converter_is_read_before_it_goes_in() -> None:
    step = step_of("no_volts:P115-7")
    assert step.state.on_unit == frozenset()
    assert step_of("no_volts:P101-16").state.on_unit == {"P115"}


# --- current -------------------------------------------------------------------------------------------------------


def test_unit_current_is_what_the_supply_gives_more() -> None:
    step = step_of("unit_current:REC", "starter")  # 0.6 A
    found, asked = judged(step, amps(0.3), amps(0.91))
    assert [sorted(r.state.on_unit) for r in asked] == [["P1"], ["P1", "P2"]]
    assert found.reading.value == pytest.approx(0.61)
    assert found.reading.detail == {"before_a": 0.3, "after_a": 0.91}
    assert found.verdict.outcome is Outcome.PASS
    assert said(step, amps(0.3), amps(1.4)) == ("FAIL", "too_much")
    assert said(step, amps(0.3), amps(0.3)) == ("FAIL", "too_little")
    assert said(step, amps(0.3), amps(0.9 + 0.2)) == ("UNSURE", "meter_cannot_tell")


def test_a_unit_behind_a_converter_draws_its_share() -> None:
    """Iin = Iout x Vout / (efficiency x Vin), by calculation."""
    harness = shipped("survey_launch")[0]
    efficiency = next(p.efficiency for p in harness.units["CONV"].type.paths if p.efficiency)
    entry = harness.unit_contact("P104-1")
    assert entry is not None
    share = entry.load_a * 12.0 / (efficiency * 24.0)
    assert f"{share:.2f} A at the supply" in (step_of("unit_current:GNSS").band or Band(0, 0, "", "")).source


def test_a_converter_alone_draws_little() -> None:
    step = step_of("unit_current:CONV")
    assert said(step, amps(0.0), amps(0.05))[0] == "PASS"
    assert said(step, amps(0.0), amps(1.0)) == ("FAIL", "too_much")


def test_units_go_in_one_at_a_time() -> None:
    steps = [s for s in shipped("survey_launch")[1].steps if s.check == "unit_current"]
    for before, after in itertools.pairwise(steps):
        assert before.state.on_unit < after.state.on_unit
    harness = shipped("survey_launch")[0]
    for step in steps:
        new = step.state.on_unit - frozenset(step.settings["before"]["on_unit"])  # type: ignore[index]
        assert {harness.connectors[ref].unit for ref in new} == {step.subject[0]}


# --- RS-232 --------------------------------------------------------------------------------------------------------

# Levels at the receiver: mark (idle) -3 to -15 V, space +3 to +15 V, between them undefined; a driver gives 5 to 15 V
# (a converter maker's application note 83; TIA-232-F). An open or grounded input reads as idle in usual receivers
# (DS14185 datasheet), so only the voltage tells that a transmitter lives.


@pytest.mark.parametrize(
    ("level_v", "outcome", "reason"),
    [
        (-9.0, "PASS", "in_band"),
        (-5.5, "PASS", "in_band"),
        (-12.0, "PASS", "in_band"),
        (0.0, "FAIL", "not_driven"),
        (0.4, "FAIL", "not_driven"),
        (6.0, "FAIL", "inverted"),
        (2.0, "FAIL", "undefined"),
        (-2.0, "UNSURE", "busy_line"),  # the mean of a line that talks may lie here
        (-1.0, "UNSURE", "busy_line"),
        (-0.9, "FAIL", "not_driven"),
        # TIA-232-F: at most 15 V into a receiver, 25 V with nothing on the wire (a summary of EIA-232-D, secondary)
        (-14.5, "PASS", "in_band"),
        (-18.0, "FAIL", "too_strong"),
        (-28.0, "FAIL", "too_strong"),
        (-3.01, "UNSURE", "meter_cannot_tell"),
        (-2.99, "UNSURE", "meter_cannot_tell"),
    ],
)
def test_rs232_idle_levels(level_v: float, outcome: str, reason: str) -> None:
    assert said(step_of("rs232_idle:position:GNSS"), volts(level_v)) == (outcome, reason)


def test_each_talker_is_read_at_the_tap() -> None:
    harness, plan, _ = shipped("survey_launch")
    steps = {s.settings["link"]: [] for s in plan.steps if s.check == "rs232_idle"}  # type: ignore[var-annotated]
    for step in plan.steps:
        if step.check == "rs232_idle":
            steps[step.settings["link"]].append(step)
    for link in harness.links:
        assert len(steps[link.name]) == len(link.talks)
        for step in steps[link.name]:
            assert step.red.startswith(f"{link.tap}-")
            assert step.black == link.ground


# --- CAN -----------------------------------------------------------------------------------------------------------

# TI transceiver datasheets (TCAN1044 and relatives), as ISO 11898-2: recessive 2.0 to 3.0 V on each line; dominant
# CAN-H 2.75 to 4.5 V (3.5 nominal), CAN-L 0.5 to 2.25 V (1.5 nominal). A meter's mean on a busy bus lies a little
# above 2.5 on H and a little below on L, such as 2.8 / 2.2 (a secondary page).


@pytest.mark.parametrize(
    ("high_v", "low_v", "outcome"),
    [
        (2.5, 2.5, "PASS"),
        (2.8, 2.2, "PASS"),
        (2.1, 2.1, "PASS"),
        (2.9, 2.9, "PASS"),
        (0.0, 0.0, "FAIL"),
        (24.0, 24.0, "FAIL"),
        (4.5, 0.5, "FAIL"),  # held dominant
        (1.5, 3.5, "FAIL"),  # exchanged, and busy
    ],
)
def test_can_levels(high_v: float, low_v: float, outcome: str) -> None:
    assert said(step_of("can_level:can1:CAN-H"), volts(high_v))[0] == outcome
    assert said(step_of("can_level:can1:CAN-L"), volts(low_v))[0] == outcome


def test_can_levels_near_the_limit() -> None:
    assert said(step_of("can_level:can1:CAN-H"), volts(3.6))[0] == "UNSURE"
    # held dominant: either wire may still be where traffic could put it, the difference is not
    assert said(step_of("can_level:can1:CAN-H to CAN-L"), volts(1.8)) == ("FAIL", "off_level")
    # exchanged, with a tenth of dominant bits
    assert said(step_of("can_level:can1:CAN-H to CAN-L"), volts(-0.2)) == ("FAIL", "off_level")
    assert said(step_of("can_level:can1:CAN-H"), volts(1.8)) == ("FAIL", "off_level")


def test_a_bus_whose_adapter_place_is_not_on_it_has_no_level_step() -> None:
    harness, _, context = shipped("starter")
    stray = replace(harness, buses=(replace(harness.buses[0], adapter_at="TB1"),))
    assert list(all_kinds()["can_level"].steps(Context(stray, context.meter))) == []
