"""What a multimeter can tell: ranges and accuracy, so that planning knows which questions it can answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from benchcheck.words.reading import format_quantity
from benchcheck.words.verdict import Band


@dataclass(frozen=True, slots=True)
class MeterRange:
    """One range: the most it shows, and what one count is worth, both in the unit read.

    percent, counts  where this range's accuracy differs from the meter's usual figures (the highest ohms range often does)
    """

    full_scale: float
    resolution: float
    percent: float | None = None
    counts: float | None = None


# An ordinary 6,000-count handheld meter, range by range (common practice, no source).
HANDHELD_OHM_RANGES = (
    MeterRange(600.0, 0.1),
    MeterRange(6e3, 1.0),
    MeterRange(60e3, 10.0),
    MeterRange(600e3, 100.0),
    MeterRange(6e6, 1e3),
    MeterRange(40e6, 1e4),
)


@dataclass(frozen=True, slots=True)
class MeterSpec:
    """Accuracy as `percent of reading + counts`, the way meter makers print it; a count is worth the range's resolution.

    The defaults are those of an ordinary 6,000-count handheld meter (common practice, no source).
    `ohm_floor`, `volt_floor` and `amp_floor` are that second part in ohms, volts and amperes whatever the range; where
    one is given, it counts instead of the counts. Lead resistance is taken off by the tool (the leads' own, measured at
    the start of a session, or `lead_ohm`); what stays is `lead_scatter_ohm` from touch to touch. A four-wire (Kelvin)
    reading has neither.

    four_wire         whether it reads with four wires; `four_wire_ranges` are its ranges then, where they differ
    """

    ohm_percent: float = 0.9
    ohm_counts: float = 2.0
    ohm_ranges: tuple[MeterRange, ...] = HANDHELD_OHM_RANGES
    ohm_floor: float | None = None
    lead_ohm: float = 0.2
    lead_scatter_ohm: float = 0.1
    ohm_max: float = 40e6
    ohm_test_volts: float = 0.6
    four_wire: bool = False
    four_wire_percent: float | None = None
    four_wire_ranges: tuple[MeterRange, ...] = ()
    volt_percent: float = 0.5
    volt_counts: float = 2.0
    volt_ranges: tuple[MeterRange, ...] = ()
    volt_floor: float = 0.02  # two counts of 0.01 V on the 60 V range; without meaning where volt_ranges are given
    amp_percent: float = 1.0
    amp_floor: float = 0.01
    name: str = "ordinary handheld meter"

    def meter_ohm_uncertainty(self, value_ohm: float) -> float:
        """Half width in ohms of what the meter itself leaves open with two wires, without what the leads add."""
        if self.ohm_floor is not None:
            return abs(value_ohm) * self.ohm_percent / 100 + self.ohm_floor
        return _of_range(self.ohm_ranges, value_ohm, self.ohm_percent, self.ohm_counts)

    def ohm_uncertainty(self, value_ohm: float) -> float:
        """Half width in ohms around a two-wire reading of `value_ohm`, the leads' scatter with it."""
        return self.meter_ohm_uncertainty(value_ohm) + self.lead_scatter_ohm

    def four_wire_uncertainty(self, value_ohm: float) -> float:
        """Half width in ohms around a four-wire reading of `value_ohm`."""
        percent = self.ohm_percent if self.four_wire_percent is None else self.four_wire_percent
        if self.four_wire_ranges:
            return _of_range(self.four_wire_ranges, value_ohm, percent, self.ohm_counts)
        if self.ohm_floor is not None:
            return abs(value_ohm) * percent / 100 + self.ohm_floor
        return _of_range(self.ohm_ranges, value_ohm, percent, self.ohm_counts)

    def volt_uncertainty(self, value_v: float) -> float:
        """Half width in volts around a reading of `value_v`."""
        if self.volt_ranges:
            return _of_range(self.volt_ranges, value_v, self.volt_percent, self.volt_counts)
        return abs(value_v) * self.volt_percent / 100 + self.volt_floor

    def volt_floor_at(self, value_v: float) -> float:
        """The part of the uncertainty in volts that does not go with the reading: counts of the range of `value_v`."""
        if self.volt_ranges:
            return _of_range(self.volt_ranges, value_v, 0.0, self.volt_counts, percent_too=False)
        return self.volt_floor

    def amp_uncertainty(self, value_a: float) -> float:
        """Half width in amperes around a reading of `value_a`."""
        return abs(value_a) * self.amp_percent / 100 + self.amp_floor


def range_of(ranges: Sequence[MeterRange], value: float) -> MeterRange:
    """The range in which a meter that chooses for itself shows `value`: the lowest that reaches, else the highest."""
    rising = sorted(ranges, key=lambda entry: entry.full_scale)
    return next((entry for entry in rising if abs(value) <= entry.full_scale), rising[-1])


def _of_range(
    ranges: Sequence[MeterRange], value: float, percent: float, counts: float, *, percent_too: bool = True
) -> float:
    entry = range_of(ranges, value)
    usual = percent if entry.percent is None else entry.percent
    floor = (counts if entry.counts is None else entry.counts) * entry.resolution
    return floor + (abs(value) * usual / 100 if percent_too else 0.0)


def share_of_band(band: Band, uncertainty: Callable[[float], float]) -> float | None:
    """How much of a band's half width the uncertainty at its middle takes: above 1 nothing can pass.

    MIL-STD-202 method 303 wants at most a tenth. None for a band that is open on a side.
    """
    if band.low is None or band.high is None:
        return None
    blur, half = uncertainty((band.low + band.high) / 2), (band.high - band.low) / 2
    return blur / half if half > 0 else float("inf")


def resolves(band: Band, uncertainty: Callable[[float], float], reach: float = float("inf")) -> str:
    """Why a meter can't tell whether a reading is in a band; empty where it can.

    uncertainty  half width around a reading of a value, in the band's unit
    reach        the most that the meter shows
    Some reading must be able to pass: one that has all of value ± uncertainty inside. For a band with two ends and an
    uncertainty of percent + counts that is so exactly where the uncertainty at the middle fits into half the width.
    """
    unit = band.unit
    if band.low is not None and band.high is not None:
        share = share_of_band(band, uncertainty)
        if share is not None and share > 1:
            blur = uncertainty((band.low + band.high) / 2)
            return (
                f"this meter can't tell: band {small(band.low, unit)} to {small(band.high, unit)}, "
                f"uncertainty ± {small(blur, unit)}"
            )
    elif band.high is not None:
        # ohms don't go below nothing
        nearest = 0.0 if unit == "ohm" else min(band.high, 0.0)
        if nearest + uncertainty(nearest) > band.high:
            return (
                f"this meter can't tell: at most {small(band.high, unit)}, "
                f"uncertainty ± {small(uncertainty(nearest), unit)}"
            )
    if band.low is not None and band.low > reach:
        return f"this meter can't tell: it reads up to {small(reach, unit)}, the limit is {small(band.low, unit)}"
    return ""


def small(value: float, unit: str) -> str:
    """A value in words, milliohms as such: `12.4 mohm`."""
    if unit == "ohm" and 0 < abs(value) < 0.1:
        return f"{value * 1e3:.3g} m{unit}"
    return format_quantity(value, unit)
