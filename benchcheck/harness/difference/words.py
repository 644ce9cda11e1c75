"""A difference between two harnesses in the words of the trade, line by line."""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.harness.difference.compare import Change, Difference, FieldChange, How, Swap
from benchcheck.harness.reading.hints import printable
from benchcheck.words.contact import contact_key

# Headings of the files that are no words.
WORDS = {
    "awg": "gauge AWG",
    "length_m": "length in m",
    "ambient_c": "ambient temperature in C",
    "insulation_c": "insulation rating in C",
    "ohm": "ohms",
    "rating_a": "rating in A",
    "limit_a": "current limit in A",
    "nominal_v": "volts",
    "load_a": "load in A",
    "feed_v": "feed volts",
    "boot_s": "boot time in s",
    "period_s": "period in s",
    "bitrate": "bit rate",
    "unit_connector": "connector of the unit",
    "adapter_at": "place of the adapter",
    "tolerance_percent": "tolerance in percent",
}


def matter_lines(found: Difference) -> list[str]:
    """What matters for the wiring, a line each; two runs exchanged in a connector are one line."""
    swapped = {wire for swap in found.swaps for wire in swap.runs}
    lines = [_swap(swap) for swap in found.swaps]
    for change in found.matters:
        if change.kind == "run" and change.name in swapped and change.how is How.CHANGED:
            rest = [field for field in change.fields if field.field not in ("from", "to") and not field.cosmetic]
            if not rest:
                continue
            change = Change(change.kind, change.how, change.name, tuple(rest))
        lines.append(_line(change, [field for field in change.fields if not field.cosmetic]))
    return [printable(line) for line in lines]


def cosmetic_lines(found: Difference) -> list[str]:
    """What only says something else of the same thing, those of the changes that matter included."""
    return [
        printable(f"{change.kind} {change.name}: {_fields(cosmetic)}")
        for change in found.changes
        if (cosmetic := [field for field in change.fields if field.cosmetic])
    ]


def _swap(swap: Swap) -> str:
    one, other = swap.runs
    return f"runs {one} and {other}: exchanged at {swap.contacts[0]} and {swap.contacts[1]}"


def _line(change: Change, fields: Iterable[FieldChange]) -> str:
    what = f"{change.kind} {change.name}" if change.kind not in ("limit", "profile") else change.name
    match change.how:
        case How.ADDED | How.REMOVED:
            ends = " to ".join(field.now or field.was for field in change.fields)
            return f"{what} {change.how.value}" + (f": {ends}" if ends else "")
        case How.RENUMBERED:
            rest = _fields(fields)
            return f"{what} renumbered, likely {change.former} before" + (f"; {rest}" if rest else "")
        case How.CHANGED:
            return f"{what}: {_fields(fields)}"


def _fields(fields: Iterable[FieldChange]) -> str:
    return "; ".join(
        f"{_heading(field.field)} {field.now or 'nothing'}, was {field.was or 'nothing'}"
        for field in sorted(fields, key=lambda field: contact_key(field.field))
    )


def _heading(field: str) -> str:
    *before, last = field.split(" ")
    return " ".join((*before, WORDS.get(last, last.replace("_", " "))))
