from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from model_bench import shipped

from benchcheck.harness.model import InBand, Role, Run
from benchcheck.harness.run_interval import (
    SIZE_14_OHM,
    SIZE_20_OHM,
    STRANDED_FACTOR,
    greatest_ohm_per_m,
    joint_at,
    least_ohm_per_m,
    run_interval,
)
from benchcheck.harness.wire import TABLE, solid_ohm_per_m, temperature_factor

HARNESS = shipped("starter")[0]
BARE = InBand(("W",), length_percent=0.0, contact_ohm=0.0)


def run(awg=22, length_m=1.0, a="P1-1", b="P2-1"):
    return Run("W", a, b, Role.SIGNAL, awg, length_m)


def test_greatest_is_the_handbook_table():
    # AC 43.13-1B CHG 1 table 11-9: 22 AWG 16.20 ohm per 1000 ft, which is 53.15 mohm/m
    assert greatest_ohm_per_m(22) == pytest.approx(0.05315, rel=1e-4)
    assert run_interval(HARNESS, run(), BARE).high_ohm == pytest.approx(16.20 / 304.8, rel=1e-9)


def test_least_is_copper_of_the_whole_cross_section():
    # IACS: 10.371 ohm for a foot of a circular mil at 20 C (handbook constant, from memory), 755 circular mils in table 11-9
    assert least_ohm_per_m(22) == pytest.approx(10.371 / 755 / 0.3048, rel=1e-4)
    # a gauge that the table lacks is taken as solid: the gauge formula and 58 MS/m both
    assert least_ohm_per_m(26) == pytest.approx(solid_ohm_per_m(26), rel=1e-9)


def test_every_row_of_the_table_is_more_than_copper_could_have():
    for awg in TABLE:
        assert least_ohm_per_m(awg) < greatest_ohm_per_m(awg)


def test_the_most_that_stranding_adds():
    # the largest ratio of table 11-9 to solid wire is that of 12 AWG: 2.02 against 1.588 ohm per 1000 ft
    assert pytest.approx(1.272, abs=1e-3) == STRANDED_FACTOR
    assert greatest_ohm_per_m(26) == pytest.approx(solid_ohm_per_m(26) * STRANDED_FACTOR)


@pytest.mark.parametrize(("temp_c", "ratio"), [(40, 0.927), (70, 0.836), (105, 0.750)])
def test_warmer_wire_has_more(temp_c, ratio):
    # AC 43.13-1B page 11-22: L2 / L1 = 254.5 / (234.5 + T2) at the same drop, so the resistance goes the other way
    warm = run_interval(replace(HARNESS, ambient_c=float(temp_c)), run(), BARE)
    cold = run_interval(HARNESS, run(), BARE)
    assert cold.high_ohm / warm.high_ohm == pytest.approx(ratio, abs=5e-4)
    assert cold.low_ohm / warm.low_ohm == pytest.approx(ratio, abs=5e-4)


def test_joints_by_contact_size():
    # MIL-DTL-26482 as quoted by a wiring article (secondary): size 20 below 30 mohm, size 14 below 20 mohm;
    # AC 43.13-1B 11-189: each connection of a bonding jumper at most 0.003 ohm
    connector = HARNESS.connectors["P1"]

    def sized(size):
        made = replace(connector, contact_size=size, contact_sizes={})
        return joint_at(replace(HARNESS, connectors={**HARNESS.connectors, "P1": made}), "P1-1")

    assert sized("20").ohm == SIZE_20_OHM == 0.030
    assert sized("12").ohm == SIZE_14_OHM == 0.020
    assert sized("16").ohm == SIZE_20_OHM  # between the two: the larger
    assert "size not known" in sized("").source
    assert "as size 20" in sized("22D").source
    assert joint_at(HARNESS, "GND1").ohm == 0.003
    assert joint_at(HARNESS, "P1-ring").ohm == 0.003
    assert joint_at(HARNESS, "P1-1", 0.005).ohm == 0.005


def test_the_arithmetic_is_shown():
    found = run_interval(HARNESS, run(length_m=2.0), InBand(("W",), length_percent=10.0))
    # by hand: 45.07 mohm/m x 1.8 m = 81.12; 53.15 x 2.2 m = 116.93, plus two contacts of 30
    assert found.low_ohm == pytest.approx(0.08112, abs=2e-5)
    assert found.high_ohm == pytest.approx(0.17693, abs=2e-5)
    for piece in ("45.07 mohm/m x 1.8 m = 81.12 mohm", "53.15 mohm/m x 2.2 m", "30 mohm", "176.9 mohm", "table 11-9"):
        assert piece in found.source


@given(
    st.sampled_from([*TABLE, 26, 28, 30]),
    st.floats(0.05, 50),
    st.floats(-40, 85),
    st.floats(-1, 1),
    st.floats(0, 1),
    st.floats(0, 1),
)
def test_a_sound_run_is_inside(awg, length_m, temp_c, off, stranding, joint):
    """Any wire between bare copper and the table, of any length within tolerance, with any joints that are accepted."""
    asked = InBand(("W",), length_percent=10.0, contact_ohm=0.02)
    found = run_interval(replace(HARNESS, ambient_c=temp_c), run(awg, length_m), asked)
    per_m = least_ohm_per_m(awg) + stranding * (greatest_ohm_per_m(awg) - least_ohm_per_m(awg))
    value = per_m * length_m * (1 + 0.1 * off) * temperature_factor(temp_c) + 2 * 0.02 * joint
    assert found.low_ohm * (1 - 1e-9) <= value <= found.high_ohm * (1 + 1e-9)


def test_what_can_not_be_computed():
    with pytest.raises(ValueError, match="no gauge"):
        run_interval(HARNESS, run(awg=None), BARE)
