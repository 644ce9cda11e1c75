"""What a run may have in ohms, as an interval with its arithmetic: for the question whether its resistance is in band.

Least: nothing but annealed copper of 58 MS/m over the wire's whole cross-section, and joints that have nothing.
Greatest: the wire table's greatest resistance, and joints with the most that is accepted of them. The length may be off
both ways. All at the temperature of the day.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from benchcheck.harness.model import Harness, InBand, Run
from benchcheck.harness.wire import (
    FORMULA_SOURCE,
    IACS_OHM_MM2_PER_M,
    TABLE,
    TABLE_SOURCE,
    awg_text,
    circular_mils,
    ohm_per_m,
    solid_ohm_per_m,
    temperature_factor,
)
from benchcheck.harness.wire import METRES_PER_1000_FT as _M
from benchcheck.words.contact import RING, SHELL, pin_of, ref_of

# One circular mil is the area of a circle of a thousandth of an inch: pi/4 x (0.0254 mm)^2.
MM2_PER_CIRCULAR_MIL = 3.141592653589793 / 4 * 0.0254**2
# MIL-DTL-26482 as a wiring article quotes it (secondary source): contact size 20 below 30 mohm, size 14 below 20 mohm.
SIZE_20_OHM, SIZE_14_OHM = 0.030, 0.020
# AC 43.13-1B 11-189: each connection of a bonding jumper at most 0.003 ohm; a lug under a nut is made like one.
LUG_OHM = 0.003
# Stranded wire has up to this much more than solid wire of its gauge: the largest ratio in table 11-9 (AWG 12).
STRANDED_FACTOR = max(row.ohm_per_1000ft / _M / solid_ohm_per_m(awg) for awg, row in TABLE.items())


@dataclass(frozen=True, slots=True)
class Joint:
    """One end of a run: the most that its contact with crimp may have, and why."""

    ohm: float
    source: str


@dataclass(frozen=True, slots=True)
class RunInterval:
    """Ohms from least to greatest, and the arithmetic of both."""

    low_ohm: float
    high_ohm: float
    source: str


def least_ohm_per_m(awg: int, temp_c: float = 20.0) -> float:
    """Resistance of a metre of a gauge that no copper wire of its cross-section goes below."""
    return IACS_OHM_MM2_PER_M / (circular_mils(awg) * MM2_PER_CIRCULAR_MIL) * temperature_factor(temp_c)


def greatest_ohm_per_m(awg: int, temp_c: float = 20.0) -> float:
    """The wire table's greatest resistance of a metre; for gauges that it lacks, solid wire times the stranded factor."""
    return ohm_per_m(awg, temp_c) * (1.0 if awg in TABLE else STRANDED_FACTOR)


def joint_at(harness: Harness, contact: str, given_ohm: float | None = None) -> Joint:
    """What the end of a run at `contact` may have at most; `given_ohm` is what the profile says of contacts."""
    connector = harness.connectors.get(ref_of(contact))
    pin = pin_of(contact)
    if pin in (RING, SHELL) or (connector is not None and connector.family == "stud"):
        return Joint(LUG_OHM, f"lug at {contact} {LUG_OHM * 1e3:g} mohm (AC 43.13-1B 11-189)")
    if given_ohm is not None:
        return Joint(given_ohm, f"contact at {contact} {given_ohm * 1e3:g} mohm (profile)")
    size = connector.size_of(pin) if connector is not None else ""
    number = re.match(r"[0-9]+", size)
    if number and int(number[0]) <= 14:
        return Joint(SIZE_14_OHM, f"contact at {contact} {SIZE_14_OHM * 1e3:g} mohm (MIL-DTL-26482, secondary source)")
    known = "" if size == "20" else ", as size 20" if size else ", size not known: as size 20"
    return Joint(
        SIZE_20_OHM, f"contact at {contact} {SIZE_20_OHM * 1e3:g} mohm (MIL-DTL-26482, secondary source{known})"
    )


def run_interval(harness: Harness, run: Run, asked: InBand) -> RunInterval:
    """The interval of one run alone. Raises ValueError for a run without gauge, length or second end."""
    if run.awg is None or run.length_m is None or not run.b:
        raise ValueError(f"{run.wire} has no gauge, no length or no second end")
    share = asked.length_percent / 100
    temp_c = harness.ambient_c
    least, greatest = least_ohm_per_m(run.awg) * 1e3, greatest_ohm_per_m(run.awg) * 1e3
    factor = temperature_factor(temp_c)
    joints = [joint_at(harness, end, asked.contact_ohm) for end in run.ends]
    low = least / 1e3 * run.length_m * (1 - share) * factor
    high = greatest / 1e3 * run.length_m * (1 + share) * factor + sum(joint.ohm for joint in joints)
    warm = "" if temp_c == 20 else f" x (234.5 + {temp_c:g}) / 254.5"
    where_from = (
        f"{TABLE_SOURCE}: its cross-section in copper of 58 MS/m, its greatest resistance"
        if run.awg in TABLE
        else f"{FORMULA_SOURCE}; greatest times {STRANDED_FACTOR:.3g}, the most that stranded wire of table 11-9 is above"
    )
    source = (
        f"computed: AWG {awg_text(run.awg)}, {run.length_m:g} m ± {asked.length_percent:g} percent at {temp_c:g} C: "
        f"least {least:.4g} mohm/m x {run.length_m * (1 - share):.4g} m{warm} = {low * 1e3:.4g} mohm; "
        f"greatest {greatest:.4g} mohm/m x {run.length_m * (1 + share):.4g} m{warm}, "
        f"plus {', '.join(joint.source for joint in joints)}: {high * 1e3:.4g} mohm ({where_from})"
    )
    return RunInterval(low, high, source)
