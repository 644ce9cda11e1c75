"""Numbers of other tables: decimal commas, and units in the heading or the cell, turned into those of a profile."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Context, Decimal, InvalidOperation

from benchcheck.harness.reading.hints import shown

# The international foot and inch are exact in metres since 1959 (international yard and pound agreement; from memory).
UNITS: Mapping[str, Mapping[str, Decimal]] = {
    "length_m": {
        "m": Decimal(1),
        "cm": Decimal("0.01"),
        "mm": Decimal("0.001"),
        "ft": Decimal("0.3048"),
        "in": Decimal("0.0254"),
    },
    "feed_v": {"V": Decimal(1), "mV": Decimal("0.001")},
    "load_a": {"A": Decimal(1), "mA": Decimal("0.001")},
    "ohm": {"ohm": Decimal(1), "kohm": Decimal(1000), "Mohm": Decimal(1_000_000)},
    "farad": {"F": Decimal(1), "uF": Decimal("0.000001"), "nF": Decimal("0.000000001")},
    "efficiency": {"1": Decimal(1), "%": Decimal("0.01")},
}
# other spellings of a unit
_SAID: Mapping[str, str] = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters", "mtr"), "m"),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("ft", "foot", "feet", "'", "′"), "ft"),
    **dict.fromkeys(("in", "inch", "inches", "ins", '"', "″"), "in"),
    **dict.fromkeys(("v", "volt", "volts", "vdc"), "V"),
    **dict.fromkeys(("mv", "millivolt", "millivolts"), "mV"),
    **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes"), "A"),
    **dict.fromkeys(("ma", "milliamp", "milliamps", "milliampere", "milliamperes"), "mA"),
    **dict.fromkeys(("ohm", "ohms", "ω"), "ohm"),
    **dict.fromkeys(("kohm", "kohms", "k", "kω"), "kohm"),
    **dict.fromkeys(("mohm", "mohms", "mω", "megohm", "megohms"), "Mohm"),
    **dict.fromkeys(("f", "farad", "farads"), "F"),
    **dict.fromkeys(("uf", "µf", "μf", "microfarad", "microfarads"), "uF"),
    **dict.fromkeys(("nf", "nanofarad", "nanofarads"), "nF"),
    **dict.fromkeys(("%", "percent"), "%"),
}
# metres in feet or inches have no end: they go out with so many decimals, and come back rounded to fewer
_CUT_SHORT = (UNITS["length_m"]["ft"], UNITS["length_m"]["in"])
_PLACES = 9
_BACK_PLACES = 12
_MOST_DIGITS = 15
_WRITTEN = re.compile(r"([-+]?[0-9][0-9.,  ]*|[-+]?[.,][0-9]+)\s*([^\W\d_]+|%|\"|″|'|′)?\.?\Z")


# as spreadsheets write small and large numbers: 1.5E-07
_POWER = re.compile(r"([-+]?[0-9]+(?:[.,][0-9]+)?)E([-+][0-9]{1,2})\Z", re.I)


NO_UNIT = "neither the heading nor the cell says the unit"


@dataclass(frozen=True, slots=True)
class Wrong:
    """Why a text is no number, and what to do."""

    text: str
    hint: str


def unit_named(target: str, word: str) -> str:
    """The unit of `target` that `word` names, empty where it names none."""
    unit = _SAID.get(word.strip().strip(".").casefold(), "")
    return unit if unit in UNITS.get(target, {}) else ""


def decimal_mark(texts: Iterable[str]) -> str:
    """The decimal mark that these numbers are written with: `,` or `.`; empty where only `1,234` and the like stand.

    A comma followed by exactly three digits may be a thousands mark.
    """
    seen = ""
    for text in texts:
        found = re.match(r"[-+]?[\d.]*,(\d+)", text.strip())
        if found is None:
            continue
        if len(found[1]) != 3 or re.match(r"[-+]?0?,", text.strip()):
            return ","
        seen = "?"
    return "" if seen else "."


def read_quantity(target: str, text: str, unit: str, mark: str) -> str | Wrong:
    """The number in `text` in the unit of a profile, as it is written there.

    unit   that of the column; one in the cell itself goes before it; empty where neither is known
    mark   decimal mark, `.` or `,`; empty where it can't be told
    """
    power = _POWER.match(text.strip())
    found = _WRITTEN.match(power[1] if power else text.strip())
    if found is None:
        return Wrong(f"{shown(text)} is no number", "A number alone is wanted, as 1.5.")
    digits, named = found[1].replace(" ", "").replace(" ", ""), found[2] or ""
    if "," in digits and "." in digits:
        thousands = min((",", "."), key=digits.index)
        digits = digits.replace(thousands, "").replace(",", ".")
    elif "," in digits:
        thousands_mark = bool(re.fullmatch(r"[-+]?\d{1,3}(?:,\d{3})+", digits))
        if mark == "" and thousands_mark:
            return Wrong(f"{shown(text)} can be read in two ways", "Say --decimal comma or --decimal point.")
        if mark == "." and not thousands_mark:
            return Wrong(f"{shown(text)} has a decimal comma", "Write a point, or say --decimal comma.")
        digits = digits.replace(",", "" if mark == "." else ".")
    own = unit_named(target, named) if named else ""
    if named and not own:
        known = ", ".join(UNITS[target])
        return Wrong(f"{shown(text)}: unit {shown(named)} is not known", f"Units: {known}.")
    whole, point, _ = digits.partition(".")
    long = len(digits) > _MOST_DIGITS + 2
    if long and (not point or len(whole) > _MOST_DIGITS or len(digits) > 2 * _MOST_DIGITS):
        return Wrong(f"{shown(text)} has too many digits", f"At most {_MOST_DIGITS}.")
    try:
        # decimals that a computed number carries beyond what it is good for
        number = Context(prec=_MOST_DIGITS).create_decimal(digits) if long else Decimal(digits)
        number = number.scaleb(int(power[2])) if power else number
    except InvalidOperation:
        return Wrong(f"{shown(text)} is no number", "A number alone is wanted, as 1.5.")
    if not (own or unit):
        known = " ".join(UNITS[target])
        return Wrong(NO_UNIT, f"Say which with --length-unit ({known}).")
    return scaled(number, UNITS[target][own or unit])


def scaled(number: Decimal, factor: Decimal) -> str:
    """`number` times `factor`, written without an exponent and without needless zeros."""
    value = number * factor
    if factor in _CUT_SHORT:
        value = round(value, _PLACES)
    return _plain(value)


def back(text: str, target: str, unit: str) -> str:
    """A number of the profile in the unit of another table; `scaled` gives the same number again."""
    factor = UNITS[target][unit]
    if factor == 1:
        return text
    value = Decimal(text) / factor
    return _plain(round(value, _BACK_PLACES) if factor in _CUT_SHORT else value)


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
