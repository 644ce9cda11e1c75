"""The figures of [meter.accuracy] in bench.toml: fields of words.meter.MeterSpec, checked and made into its values."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from difflib import get_close_matches

from benchcheck.words.meter import MeterRange, MeterSpec

_RANGE_KEYS = tuple(entry.name for entry in dataclasses.fields(MeterRange))
# what gives the part of an accuracy that does not go with the reading: in the unit read, or counts of a range
_FLOOR_OR_RANGES = (("ohm_floor", "ohm_ranges"), ("ohm_floor", "ohm_counts"), ("volt_floor", "volt_ranges"))


def accuracy_figures(given: object) -> dict[str, object]:
    """Keys and values for MeterSpec. Raises ValueError in words for a key that it has not, or a value that can't be."""
    if not isinstance(given, Mapping):
        raise ValueError("must be a table of figures")
    known = {entry.name: str(entry.type) for entry in dataclasses.fields(MeterSpec)}
    figures: dict[str, object] = {}
    for key, value in given.items():
        if key not in known:
            raise ValueError(f"unknown key '{key}'; {nearest(str(key), list(known))}")
        figures[key] = _figure(key, known[key], value)
    for one, other in _FLOOR_OR_RANGES:
        if one in figures and other in figures:
            raise ValueError(f"give either {one} or {other}: both say what is added to the percent of the reading")
    ranges = figures.get("ohm_ranges")
    if isinstance(ranges, tuple) and "ohm_max" not in figures:
        figures["ohm_max"] = max(entry.full_scale for entry in ranges)
    if "four_wire_ranges" in figures and "four_wire" not in figures:
        figures["four_wire"] = True
    return figures


def _figure(key: str, type_: str, value: object) -> object:
    if type_ == "str":
        if not isinstance(value, str):
            raise ValueError(f"{key} must be text")
        return value
    if type_ == "bool":
        if not isinstance(value, bool):
            raise ValueError(f"{key} must be true or false")
        return value
    if type_.startswith("tuple"):
        if isinstance(value, tuple) and all(isinstance(entry, MeterRange) for entry in value):
            return value
        if not isinstance(value, list) or not value:
            raise ValueError(f"{key} must be a list of ranges: [{{ full_scale = 600, resolution = 0.1 }}]")
        return tuple(_range(key, entry) for entry in value)
    return _number(key, value)


def _range(key: str, given: object) -> MeterRange:
    if not isinstance(given, Mapping):
        raise ValueError(f"{key}: a range is {{ full_scale = 600, resolution = 0.1 }}")
    for name in given:
        if name not in _RANGE_KEYS:
            raise ValueError(f"{key}: unknown key '{name}'; {nearest(str(name), _RANGE_KEYS)}")
    figures = {name: _number(f"{key}: {name}", value) for name, value in given.items()}
    for name in ("full_scale", "resolution"):
        if not figures.get(name):
            raise ValueError(f"{key}: {name} is missing, or nothing")
    if figures["resolution"] > figures["full_scale"]:
        raise ValueError(f"{key}: a resolution of {figures['resolution']:g} is more than the range")
    return MeterRange(**figures)


def _number(key: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value < 1e30:
        raise ValueError(f"{key} must be a number of at least 0")
    return float(value)


def nearest(word: str, known: Sequence[str]) -> str:
    """The known word that is nearest, or all of them."""
    near = get_close_matches(word, known, n=1)
    return f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(known)}."
