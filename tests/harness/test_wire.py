"""Wire: the handbook's table, the gauge formula, and the handbook's worked examples, misprints and all."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness import wire

FOOT_M = 0.3048

# AC 43.13-1B CHG 1, table 11-9: gauge -> amperes at 105, 150, 200 C; ohm per 1000 ft at 20 C; circular mils
TABLE_11_9 = {
    24: (2.5, 4, 5, 28.40, 475),
    22: (3, 5, 6, 16.20, 755),
    20: (4, 7, 9, 9.88, 1216),
    18: (6, 9, 12, 6.23, 1900),
    16: (7, 11, 14, 4.81, 2426),
    14: (10, 14, 18, 3.06, 3831),
    12: (13, 19, 25, 2.02, 5874),
    10: (17, 26, 32, 1.26, 9354),
    8: (38, 57, 71, 0.70, 16983),
    6: (50, 76, 97, 0.44, 26818),
    4: (68, 103, 133, 0.28, 42615),
    2: (95, 141, 179, 0.18, 66500),
    1: (113, 166, 210, 0.15, 81700),
    0: (128, 192, 243, 0.12, 104500),
    -1: (147, 222, 285, 0.09, 133000),
    -2: (172, 262, 335, 0.07, 166500),
    -3: (204, 310, 395, 0.06, 210900),
}

# The same page's comparison: solid copper by the formula, ohm per 1000 ft; rounded as NBS Handbook 100 prints it
# (10 AWG 0.9989 and 22 AWG 16.14 from memory)
SOLID = {
    24: 25.67, 22: 16.14, 20: 10.15, 18: 6.385, 16: 4.016, 14: 2.525, 12: 1.588, 10: 0.9988, 8: 0.6282, 6: 0.3951,
    4: 0.2485, 2: 0.1563, 1: 0.1239, 0: 0.0983, -1: 0.0779, -2: 0.0618, -3: 0.0490,
}  # fmt: skip


def feet(awg: int, length_ft: float, current_a: float) -> float:
    return wire.voltage_drop_v(awg, length_ft * FOOT_M, current_a)


def test_the_table_is_the_handbooks() -> None:
    assert {
        awg: (row.amps_105c, row.amps_150c, row.amps_200c, row.ohm_per_1000ft, row.circular_mils)
        for awg, row in wire.TABLE.items()
    } == TABLE_11_9


@pytest.mark.parametrize(("awg", "ohm"), SOLID.items())
def test_solid_wire_by_the_formula(awg: int, ohm: float) -> None:
    # NBS Handbook 100 values to their rounding
    assert wire.solid_ohm_per_m(awg) * 304.8 == pytest.approx(ohm, rel=6e-4)


def test_gauge_formula() -> None:
    # ASTM B258: 0000 is 0.4600 in, 36 is 0.005 in, one gauge is the ratio 1.1229322
    assert wire.diameter_in(-3) == pytest.approx(0.4600, abs=5e-5)
    assert wire.diameter_in(36) == 0.005
    assert wire.diameter_in(9) / wire.diameter_in(10) == pytest.approx(1.1229322, abs=1e-7)


def test_metric_value() -> None:
    # 22 AWG, 16.2 ohm/1000 ft = 53.15 mohm/m (1 ohm/1000 ft = 3.2808 mohm/m)
    assert wire.ohm_per_m(22) * 1000 == pytest.approx(53.15, abs=0.005)
    # a gauge that the table lacks: the formula
    assert wire.ohm_per_m(26) == wire.solid_ohm_per_m(26)
    assert "formula" in wire.source(26, 1.0)


@pytest.mark.parametrize(("temp_c", "ratio"), [(40, 0.927), (70, 0.836), (105, 0.750)])
def test_temperature(temp_c: float, ratio: float) -> None:
    # AC 43.13-1B page 11-22: L2 = 254.5 L1 / (234.5 + T2), so the length for the same drop shrinks by this
    assert 1 / wire.temperature_factor(temp_c) == pytest.approx(ratio, abs=5e-4)
    assert wire.resistance_ohm(22, 2.0, temp_c) == pytest.approx(
        2 * wire.ohm_per_m(22) * wire.temperature_factor(temp_c)
    )
    assert wire.temperature_factor(20) == 1


@pytest.mark.parametrize(
    ("awg", "length_ft", "drop_v"),
    # AC 43.13-1B table 11-7, 20 A: products as printed (12 AWG is printed 3.60, which is 3.555 rounded up)
    [(6, 107, 0.942), (4, 90, 0.504), (12, 88, 3.555), (14, 100, 6.12)],
)
def test_drop_of_table_11_7(awg: int, length_ft: float, drop_v: float) -> None:
    assert feet(awg, length_ft, 20) == pytest.approx(drop_v, abs=6e-4)


@pytest.mark.parametrize(("length_ft", "drop_v"), [(39, 0.98), (156, 3.93), (273, 6.88)])
def test_drop_of_table_11_8(length_ft: float, drop_v: float) -> None:
    # AC 43.13-1B table 11-8: 10 AWG, 20 A
    assert feet(10, length_ft, 20) == pytest.approx(drop_v, abs=6e-3)


def test_the_two_misprints_do_not_come_out() -> None:
    # table 11-8 prints .366 V for 19.5 ft of 10 AWG at 20 A: it is 0.491 V
    assert feet(10, 19.5, 20) == pytest.approx(0.491, abs=5e-4)
    assert feet(10, 19.5, 20) != pytest.approx(0.366, abs=0.1)
    # table 11-7 prints 3.60 V for 88 ft of 12 AWG: it is 3.555 V
    assert abs(feet(12, 88, 20) - 3.60) > 0.04


def test_wire_size_of_example_1() -> None:
    # AC 43.13-1B page 11-26, example 1: 50 ft run, ground wire counted in, 28 V, 20 A continuous: use No. 8
    allowed = wire.allowed_drop_v(28)
    assert allowed == 1
    assert wire.thinnest_awg(50 * FOOT_M, 20, allowed) == 8
    assert feet(8, 50, 20) == pytest.approx(0.70, abs=1e-9)
    assert feet(10, 50, 20) == pytest.approx(1.26, abs=1e-9)
    # 20 A for so long is more than any wire of the table carries that far
    assert wire.thinnest_awg(5000, 20, allowed) is None


def test_ampacity() -> None:
    # AC 43.13-1B table 11-9: 22 AWG 3, 5, 6 A and 8 AWG 38, 57, 71 A by insulation
    assert [wire.ampacity_a(22, rated) for rated in (105, 150, 200)] == [3, 5, 6]
    assert [wire.ampacity_a(8, rated) for rated in (105, 150, 200)] == [38, 57, 71]
    # between two rows what the thinner one carries; thinner than the table no more than its thinnest
    assert wire.ampacity_a(9) == wire.ampacity_a(10)
    assert wire.ampacity_a(28) == wire.ampacity_a(24)


@pytest.mark.parametrize(
    ("awg", "breaker_a"),
    # AC 43.13-1B table 11-3, breaker column (the pairing of its columns from memory)
    [(22, 5), (20, 7.5), (18, 10), (16, 15), (14, 20), (12, 30), (10, 40), (8, 50), (6, 80), (4, 100), (2, 125)],
)
def test_breakers_of_table_11_3(awg: int, breaker_a: float) -> None:
    assert wire.largest_breaker_a(awg) == breaker_a


def test_gauges_without_a_breaker() -> None:
    assert [wire.largest_breaker_a(awg) for awg in (24, 1, 0, -3)] == [None] * 4
    assert wire.largest_breaker_a(7) == 50
    # the two tables have different bases: 22 AWG is protected at 5 A and carries 3 A in a bundle
    assert wire.largest_breaker_a(22) == 5 > wire.ampacity_a(22)


def test_circular_mils() -> None:
    # AC 43.13-1B table 11-9; other gauges by the square of the solid diameter: 36 AWG is 0.005 in, 25 circular mils
    assert wire.circular_mils(20) == 1216
    assert wire.circular_mils(36) == pytest.approx(25)


def test_allowed_drop() -> None:
    # AC 43.13-1B table 11-6 (continuous: drop columns of tables 11-7 and 11-8; intermittent from memory)
    continuous = {14: 0.5, 28: 1, 115: 4, 200: 7}
    assert {volts: wire.allowed_drop_v(volts) for volts in continuous} == continuous
    assert [wire.allowed_drop_v(volts, continuous=False) for volts in continuous] == [1, 2, 8, 14]
    # other volts: never more than the table's nearest ratio gives
    assert wire.allowed_drop_v(24) == pytest.approx(24 * 4 / 115)
    assert wire.allowed_drop_v(24) / 24 <= 1 / 28


def test_the_source_shows_the_arithmetic() -> None:
    said = wire.source(22, 1.2, 40)
    assert "AC 43.13-1B" in said
    assert "53.15 mohm/m x 1.2 m x (234.5 + 40) / 254.5" in said
    assert f"{wire.resistance_ohm(22, 1.2, 40):.4g} ohm" in said


def test_gauges_in_writing() -> None:
    assert [wire.awg_from_text(text) for text in ("22", "0", "00", "0000", "4/0", "1/0")] == [22, 0, -1, -3, -3, 0]
    assert [wire.awg_from_text(text) for text in ("", "22.5", "x", "-1", "5/0", "1/1", "٣", "2222")] == [None] * 8
    assert [wire.awg_text(awg) for awg in (22, 0, -3)] == ["22", "0", "0000"]


@given(st.integers(wire.THICKEST_AWG, wire.THINNEST_AWG), st.floats(0, 1000), st.floats(-60, 200))
@settings(max_examples=50)
def test_resistance_grows_with_length_and_temperature(awg: int, length_m: float, temp_c: float) -> None:
    ohm = wire.resistance_ohm(awg, length_m, temp_c)
    assert math.isfinite(ohm)
    assert ohm >= 0
    assert wire.resistance_ohm(awg, length_m, temp_c + 1) >= ohm
    assert wire.resistance_ohm(awg, length_m + 1, temp_c) > ohm
