"""A reading: what an instrument, a bus or a person said."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class ReadingState(StrEnum):
    VALUE = "value"  # a number was read
    OVER = "over"  # beyond the range: OL on a meter in ohms means open
    NONE = "none"  # no reading: link lost, not a number, refused


@dataclass(frozen=True, slots=True)
class Reading:
    """What was read.

    value        in `unit`; NaN unless state is VALUE
    uncertainty  half width, in `unit`, of what the instrument and leads leave open
    over_above   for OVER: the range's end, so "more than this" is known
    instrument   identity as the instrument gave it, or "typed by NAME"
    detail       what the instrument adds: range, test volts, tallies of a bus, bytes of a line
    """

    state: ReadingState
    unit: str
    value: float = math.nan
    uncertainty: float = 0.0
    over_above: float = math.nan
    instrument: str = ""
    detail: Mapping[str, object] = field(default_factory=dict)

    @classmethod
    def none(cls, why: str, unit: str = "") -> Reading:
        """No reading, and why."""
        return cls(ReadingState.NONE, unit, detail={"why": why})

    @property
    def text(self) -> str:
        """The reading as a person would say it."""
        if self.state is ReadingState.OVER:
            return "OL"
        if self.state is ReadingState.NONE:
            return "no reading"
        return f"{format_quantity(self.value, self.unit)}"

    def to_json(self) -> dict[str, object]:
        """The reading as plain JSON values; a missing number is null, never NaN."""
        return {
            "state": self.state.value,
            "unit": self.unit,
            "value": None if math.isnan(self.value) else self.value,
            "uncertainty": self.uncertainty,
            "over_above": None if math.isnan(self.over_above) else self.over_above,
            "instrument": self.instrument,
            "detail": dict(self.detail),
        }


def reading_from_json(document: Mapping[str, object]) -> Reading:
    """The reading that `Reading.to_json` wrote."""

    def number(key: str) -> float:
        value = document.get(key)
        return float(value) if isinstance(value, (int, float)) else math.nan

    detail = document.get("detail")
    return Reading(
        ReadingState(str(document["state"])),
        str(document["unit"]),
        number("value"),
        float(str(document.get("uncertainty", 0.0))),
        number("over_above"),
        str(document.get("instrument", "")),
        dict(detail) if isinstance(detail, Mapping) else {},
    )


def format_quantity(value: float, unit: str) -> str:
    """A value with three to four figures and a prefix: `1.5 ohm`, `2.2 kohm`, `10 mohm`, `24.02 V`."""
    size = abs(value)
    if unit in ("ohm",) and size >= 1e6:
        return f"{value / 1e6:.4g} M{unit}"
    if unit in ("ohm",) and size >= 1e3:
        return f"{value / 1e3:.4g} k{unit}"
    if unit in ("V", "A") and 0 < size < 0.1:
        return f"{value * 1e3:.3g} m{unit}"
    return f"{value:.4g} {unit}".rstrip()
