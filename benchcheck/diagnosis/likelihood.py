"""How likely a reading is where the resistor network predicts so many ohms.

An outcome is "more than the range", or a number. Numbers are weighed on a scale that is straight for small ohms and
logarithmic for large ones, as log10(1 + ohm), so that a density means the same for a wire and for a megohm. What a good
reading may be off: the meter and its leads as the reading itself says, the scatter of crimps and mated contacts, stated
lengths by 20 percent, parts by their tolerance; now and then a touch that adds an ohm; and, very rarely, anything at all.
"""

from __future__ import annotations

import math

from benchcheck.diagnosis.hypothesis import OPEN_OHM
from benchcheck.harness.plug import CODE_PERCENT
from benchcheck.words.reading import Reading, ReadingState

# Lengths off by up to 20 percent, evenly: one standard deviation is 0.2 / sqrt(3).
LENGTH_REL = 0.2 / math.sqrt(3)
# Terminators are within 10 percent of their value (ISO 11898-2, from a secondary page), most far nearer.
PART_REL = 0.04
# Above this it is parts that are read, below it wire.
WIRE_OHM = 10.0
CONTACT_OHM = 0.04  # crimps and mated contacts of a way (common practice, no source)
TOUCH_OHM, TOUCH_SHARE = 2.0, 0.05  # a poor touch of a probe (common practice, no source)
ANYTHING = 1e-6  # a reading of another contact than was asked for, twice over
DECADES = 8.0  # of the scale, up to tens of megohms

OVER_FLOOR = math.log(ANYTHING)
VALUE_FLOOR = math.log(ANYTHING / DECADES)


def floor(reading: Reading) -> float:
    """The logarithm that a reading has where nothing predicts it."""
    return VALUE_FLOOR if _is_value(reading) else OVER_FLOOR


def spread_ohm(predicted_ohm: float, uncertainty_ohm: float, *, coded: bool = False) -> float:
    """One standard deviation around a prediction, in ohms. `uncertainty_ohm` is the meter's half width there."""
    relative = LENGTH_REL if predicted_ohm < WIRE_OHM else max(PART_REL, LENGTH_REL * WIRE_OHM / predicted_ohm)
    if coded:
        relative = CODE_PERCENT / 100
    return math.sqrt((uncertainty_ohm / 2) ** 2 + CONTACT_OHM**2 + (relative * predicted_ohm) ** 2)


def log_likelihood(predicted_ohm: float, reading: Reading, *, coded: bool = False) -> float:
    """The logarithm of how likely a reading is; 0 where there is none to weigh."""
    if reading.state is ReadingState.NONE:
        return 0.0
    if not _is_value(reading):
        return 0.0 if predicted_ohm > OPEN_OHM else OVER_FLOOR
    if predicted_ohm > OPEN_OHM:
        return VALUE_FLOOR
    value = max(reading.value, 0.0)
    sigma = spread_ohm(predicted_ohm, reading.uncertainty, coded=coded)
    off = value - predicted_ohm
    density = 0.9 * _bell(off, sigma) + (0.1 - TOUCH_SHARE) * _bell(off, 3 * sigma)
    if 0 <= off < TOUCH_OHM:
        density += TOUCH_SHARE / TOUCH_OHM
    return math.log(density * (value + 1) * math.log(10) + ANYTHING / DECADES)


# What a step of the power or live stage comes to, by verdict and reason: as it should, or otherwise (own choice).
AS_SAID, OTHER_REASON, IN_SPITE, BY_ACCIDENT = 0.9, 0.05, 0.05, 1e-4
VERDICT_EXPLAINED = math.log(0.5)


def verdict_likelihood(failed: bool, reason: str, reasons: frozenset[str] | None) -> float:
    """The logarithm of how likely a verdict is; `reasons`: those for which the step should fail, None where it should pass."""
    if reasons is None:
        return math.log(BY_ACCIDENT) if failed else math.log(1 - BY_ACCIDENT)
    if not failed:
        return math.log(IN_SPITE)
    return math.log(AS_SAID if reason in reasons else OTHER_REASON)


def _is_value(reading: Reading) -> bool:
    return reading.state is ReadingState.VALUE and reading.value <= OPEN_OHM


def _bell(off: float, sigma: float) -> float:
    return math.exp(-0.5 * (off / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))
