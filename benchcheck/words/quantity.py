"""A reading that a person typed, as it stood on the meter's display."""

from __future__ import annotations

import math
import re

from benchcheck.words.errors import InputError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState

_UNITS = {"ohm": "ohms", "V": "volts", "A": "amperes"}
_UNIT_WORDS = {
    "ohm": "ohm",
    "ohms": "ohm",
    "\u03c9": "ohm",  # what both the ohm sign and a capital omega become in lower case
    "v": "V",
    "volt": "V",
    "volts": "V",
    "vdc": "V",
    "a": "A",
    "amp": "A",
    "amps": "A",
}
_PREFIXES = {"": 1.0, "k": 1e3, "K": 1e3, "M": 1e6, "m": 1e-3, "u": 1e-6, "\u00b5": 1e-6, "\u03bc": 1e-6}
_USUAL = {
    "ohm": ("", "k", "K", "M", "m"),
    "V": ("", "m", "k", "K", "u", "\u00b5", "\u03bc"),
    "A": ("", "m", "u", "\u00b5", "\u03bc"),
}
_OVER = re.compile(r"\+?\s*[o0]\s*\.?\s*l\s*\.?\Z", re.IGNORECASE)
_TYPED = re.compile(r"(?P<number>[+-]?\s*[0-9]*[.,]?[0-9]*(?:[eE][+-]?[0-9]{1,2})?)\s*(?P<rest>[^0-9.,]*)\Z")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,2})?\Z")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}\Z")
_EXAMPLES = {"ohm": "0.3, 4.7k, 1.2M, 180m, OL", "V": "24.1, -5.1, 180m, OL", "A": "0.82, 180m, OL"}
_LONGEST = 40


def parse_quantity(text: str, unit: str, *, spec: MeterSpec | None = None, by: str = "") -> Reading:
    """What was typed, as a reading in `unit` (`ohm`, `V` or `A`).

    Takes decimal point or comma, a prefix, a unit word, blanks between them, and the display's OL (`open`
    too, for ohms). The uncertainty is that of `spec`, an ordinary handheld meter if none is given: what is
    typed was read off some meter, and is never exact. `by` is who typed it. InputError with a hint for
    anything else, and for what could be meant in two ways.
    """
    if unit not in _UNITS:
        raise ValueError(f"readings in '{unit}' can't be typed")
    spec = spec or MeterSpec()
    instrument = f"typed by {by}" if by else "typed"
    typed = text.strip().replace("\u2212", "-")
    detail = {"typed": typed[:_LONGEST]}
    if _OVER.match(typed) or (unit == "ohm" and typed.lower() in ("open", "o/l")):
        over = spec.ohm_max if unit == "ohm" else math.nan
        return Reading(ReadingState.OVER, unit, over_above=over, instrument=instrument, detail=detail)
    value = _value(typed, unit)
    uncertainty = {"ohm": spec.ohm_uncertainty, "V": spec.volt_uncertainty, "A": spec.amp_uncertainty}[unit](value)
    if unit == "ohm" and value < -(spec.ohm_uncertainty(value) + spec.lead_ohm):
        raise InputError(
            f"{value:g} ohm is less than nothing",
            hint="A meter shows negative ohms when there is voltage on the circuit: switch off, then measure volts.",
        )
    return Reading(ReadingState.VALUE, unit, value, uncertainty, instrument=instrument, detail=detail)


def _value(typed: str, unit: str) -> float:
    example = f"Type it as the meter shows it: {_EXAMPLES[unit]}."
    shown = ascii(typed[:_LONGEST])
    if not typed:
        raise InputError("nothing was typed", hint=example)
    match = _TYPED.match(typed) if len(typed) <= _LONGEST else None
    number = match["number"].replace(" ", "") if match else ""
    if match is None or not _NUMBER.match(number):
        raise InputError(f"{shown} is no reading", hint=example)
    if _THOUSANDS.match(number):
        near, far = number.replace(",", "."), number.replace(",", "")
        raise InputError(f"{shown} can be meant in two ways", hint=f"Type {near} or {far}.")
    factor = _factor("".join(match["rest"].split()), unit, shown, example)
    # float() of a text that the pattern above let through; nothing is ever evaluated
    value = float(number.replace(",", ".")) * factor
    if not math.isfinite(value):
        raise InputError(f"{shown} is beyond any meter", hint=example)
    return value


def _factor(rest: str, unit: str, shown: str, example: str) -> float:
    """What prefix and unit word behind the number multiply it by."""
    for cut in (0, 1):
        prefix, word = rest[:cut], rest[cut:]
        meant = unit if not word else _UNIT_WORDS.get(word.lower())
        if prefix not in _PREFIXES or meant is None:
            continue
        if meant != unit:
            raise InputError(f"{shown} is in {_UNITS[meant]}, and this asks for {_UNITS[unit]}", hint=example)
        if prefix not in _USUAL[unit]:
            near = "Did you mean m (thousandths)? " if prefix == "M" else ""
            raise InputError(f"{shown}: {prefix} does not go with {_UNITS[unit]} here", hint=near + example)
        return _PREFIXES[prefix]
    raise InputError(f"{shown}: '{ascii(rest)[1:-1]}' is no unit that belongs here", hint=example)


def counted(number: int, what: str) -> str:
    """`1 step`, `2 steps`, `12,000 steps`."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"
