"""What a multimeter can tell: ranges and accuracy, so that planning knows which questions it can answer."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class MeterSpec:
    """Accuracy as `percent of reading + counts`, the way meter makers print it.

    The defaults are those of an ordinary 6,000-count handheld meter (common practice, no source).
    Lead resistance is taken off by the tool, what stays is `lead_scatter_ohm` from touch to touch.
    """

    ohm_percent: float = 0.9
    ohm_floor: float = 0.2  # two counts of 0.1 ohm on the lowest range
    lead_ohm: float = 0.2
    lead_scatter_ohm: float = 0.1
    ohm_max: float = 40e6
    ohm_test_volts: float = 0.6
    volt_percent: float = 0.5
    volt_floor: float = 0.02
    amp_percent: float = 1.0
    amp_floor: float = 0.01
    name: str = "ordinary handheld meter"

    def ohm_uncertainty(self, value_ohm: float) -> float:
        """Half width in ohms around a reading of `value_ohm`."""
        return abs(value_ohm) * self.ohm_percent / 100 + self.ohm_floor + self.lead_scatter_ohm

    def volt_uncertainty(self, value_v: float) -> float:
        """Half width in volts around a reading of `value_v`."""
        return abs(value_v) * self.volt_percent / 100 + self.volt_floor

    def amp_uncertainty(self, value_a: float) -> float:
        """Half width in amperes around a reading of `value_a`."""
        return abs(value_a) * self.amp_percent / 100 + self.amp_floor
