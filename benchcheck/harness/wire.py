"""Resistance of wire, voltage drop, and the gauge that a current and a length need.

Stranded tinned copper: AC 43.13-1B CHG 1, table 11-9, greatest resistance at 20 degrees Celsius.
Other gauges: solid copper by the gauge formula (ASTM B258) and the annealed copper standard of 58 MS/m.
Temperature: AC 43.13-1B page 11-22, R(T) in the ratio (234.5 + T) / 254.5.
Gauges 00, 000 and 0000 are -1, -2 and -3 here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

THICKEST_AWG = -3
THINNEST_AWG = 40
METRES_PER_1000_FT = 304.8
IACS_OHM_MM2_PER_M = 1 / 58
COPPER_ZERO_C = 234.5
TABLE_SOURCE = "AC 43.13-1B CHG 1 table 11-9"
FORMULA_SOURCE = "gauge formula (ASTM B258), solid copper of 58 MS/m"


@dataclass(frozen=True, slots=True)
class WireRow:
    """One row of table 11-9: amperes for wire rated 105, 150 and 200 degrees, ohms per 1000 ft, circular mils."""

    amps_105c: float
    amps_150c: float
    amps_200c: float
    ohm_per_1000ft: float
    circular_mils: int


TABLE: Mapping[int, WireRow] = {
    24: WireRow(2.5, 4, 5, 28.40, 475),
    22: WireRow(3, 5, 6, 16.20, 755),
    20: WireRow(4, 7, 9, 9.88, 1216),
    18: WireRow(6, 9, 12, 6.23, 1900),
    16: WireRow(7, 11, 14, 4.81, 2426),
    14: WireRow(10, 14, 18, 3.06, 3831),
    12: WireRow(13, 19, 25, 2.02, 5874),
    10: WireRow(17, 26, 32, 1.26, 9354),
    8: WireRow(38, 57, 71, 0.70, 16983),
    6: WireRow(50, 76, 97, 0.44, 26818),
    4: WireRow(68, 103, 133, 0.28, 42615),
    2: WireRow(95, 141, 179, 0.18, 66500),
    1: WireRow(113, 166, 210, 0.15, 81700),
    0: WireRow(128, 192, 243, 0.12, 104500),
    -1: WireRow(147, 222, 285, 0.09, 133000),
    -2: WireRow(172, 262, 335, 0.07, 166500),
    -3: WireRow(204, 310, 395, 0.06, 210900),
}

# AC 43.13-1B CHG 1 table 11-3, breaker column: gauge -> largest breaker in amperes (the pairing of its columns from
# memory). Gauges 1 and 0 have none there.
LARGEST_BREAKER_A: Mapping[int, float] = {
    22: 5, 20: 7.5, 18: 10, 16: 15, 14: 20, 12: 30, 10: 40, 8: 50, 6: 80, 4: 100, 2: 125,
}  # fmt: skip
BREAKER_SOURCE = "AC 43.13-1B CHG 1 table 11-3, breaker column"

# AC 43.13-1B table 11-6: nominal volts -> allowed drop, continuous and intermittent
ALLOWED_DROP: Mapping[float, tuple[float, float]] = {14: (0.5, 1), 28: (1, 2), 115: (4, 8), 200: (7, 14)}
# for other nominal volts: the smallest ratio of that table's continuous column
ALLOWED_DROP_RATIO = 4 / 115


def awg_from_text(text: str) -> int | None:
    """The gauge that is written `22`, `0`, `00` or `4/0`; None where it is none."""
    zeros, slash, tail = text.partition("/")
    if slash:
        return 1 - int(zeros) if tail == "0" and zeros in ("1", "2", "3", "4") else None
    if text in ("00", "000", "0000"):
        return 1 - len(text)
    return int(text) if len(text) <= 3 and text.isascii() and text.isdigit() else None


def awg_text(awg: int) -> str:
    """The gauge as it is written: `22`, `00`."""
    return "0" * (1 - awg) if awg < 0 else str(awg)


def diameter_in(awg: int) -> float:
    """Diameter of solid wire in inches: 0.005 x 92^((36 - n) / 39) (ASTM B258)."""
    return float(0.005 * 92 ** ((36 - awg) / 39))


def solid_ohm_per_m(awg: int) -> float:
    """Solid annealed copper at 20 degrees Celsius, by the gauge formula."""
    area_mm2 = math.pi / 4 * (diameter_in(awg) * 25.4) ** 2
    return IACS_OHM_MM2_PER_M / area_mm2


def temperature_factor(temp_c: float) -> float:
    """Resistance at `temp_c` by resistance at 20 degrees Celsius, copper."""
    return (COPPER_ZERO_C + temp_c) / (COPPER_ZERO_C + 20)


def ohm_per_m(awg: int, temp_c: float = 20.0) -> float:
    """Greatest resistance of a metre of wire at `temp_c` degrees Celsius."""
    row = TABLE.get(awg)
    at_20c = solid_ohm_per_m(awg) if row is None else row.ohm_per_1000ft / METRES_PER_1000_FT
    return at_20c * temperature_factor(temp_c)


def resistance_ohm(awg: int, length_m: float, temp_c: float = 20.0) -> float:
    """Greatest resistance of `length_m` metres of wire at `temp_c` degrees Celsius."""
    return ohm_per_m(awg, temp_c) * length_m


def source(awg: int, length_m: float, temp_c: float = 20.0) -> str:
    """The arithmetic behind `resistance_ohm`, with where its numbers come from."""
    at_20c = ohm_per_m(awg) * 1000
    warm = "" if temp_c == 20 else f" x (234.5 + {temp_c:g}) / 254.5"
    said = TABLE_SOURCE if awg in TABLE else f"{FORMULA_SOURCE}; stranded wire may be some percent above"
    total = resistance_ohm(awg, length_m, temp_c)
    return f"AWG {awg_text(awg)}: {at_20c:.4g} mohm/m x {length_m:g} m{warm} = {total:.4g} ohm ({said})"


def _row(awg: int) -> WireRow | None:
    """The row of table 11-9 for a gauge, or for the next thinner one that it has."""
    thinner = [gauge for gauge in TABLE if gauge >= awg]
    return TABLE[min(thinner)] if thinner else None


def ampacity_a(awg: int, insulation_c: int = 105) -> float:
    """Amperes that wire of a gauge carries in a bundle, by its insulation (105, 150 or 200 degrees): table 11-9.

    A gauge between two rows carries what the thinner one does. Wire thinner than the table's thinnest carries no more
    than that one, which is what is given.
    """
    row = _row(awg) or TABLE[max(TABLE)]
    return {105: row.amps_105c, 150: row.amps_150c, 200: row.amps_200c}[insulation_c]


def largest_breaker_a(awg: int) -> float | None:
    """The largest breaker that protects wire of a gauge: table 11-3; None where the table has none for it."""
    if awg in (0, 1) or awg < 0:
        return None
    thinner = [gauge for gauge in LARGEST_BREAKER_A if gauge >= awg]
    return LARGEST_BREAKER_A[min(thinner)] if thinner else None


def circular_mils(awg: int) -> float:
    """Copper of a gauge in circular mils: table 11-9 for stranded wire, the square of the solid diameter otherwise."""
    row = TABLE.get(awg)
    return float((diameter_in(awg) * 1000) ** 2) if row is None else row.circular_mils


def voltage_drop_v(awg: int, length_m: float, current_a: float, temp_c: float = 20.0) -> float:
    """Volts lost along `length_m` metres, the return wire counted in where there is one."""
    return resistance_ohm(awg, length_m, temp_c) * current_a


def allowed_drop_v(nominal_v: float, *, continuous: bool = True) -> float:
    """Allowed drop at a nominal voltage: AC 43.13-1B table 11-6, its smallest ratio for volts that it lacks."""
    allowed = ALLOWED_DROP.get(nominal_v)
    if allowed is not None:
        return allowed[0] if continuous else allowed[1]
    return nominal_v * ALLOWED_DROP_RATIO * (1 if continuous else 2)


def thinnest_awg(length_m: float, current_a: float, drop_v: float, temp_c: float = 20.0) -> int | None:
    """The thinnest gauge of the table whose drop is within `drop_v`; None where even the thickest drops more.

    Only the drop is looked at: compare the current with the row's amperes too.
    """
    for awg in sorted(TABLE, reverse=True):
        if voltage_drop_v(awg, length_m, current_a, temp_c) <= drop_v:
            return awg
    return None
