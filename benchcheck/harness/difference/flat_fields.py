"""Every field of a thing of the harness as text under its heading, so that two versions can be compared. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import fields
from enum import StrEnum

from benchcheck.harness.bus_source import BusSource
from benchcheck.harness.line_protocol import TextProtocol
from benchcheck.harness.model import (
    Bus,
    Cable,
    Connector,
    Feed,
    Harness,
    Limits,
    Link,
    Message,
    Part,
    Run,
    Talk,
    Unit,
    UnitContact,
    UnitPath,
    UnitType,
)
from benchcheck.words.contact import contact_key, join
from benchcheck.words.signal import Signal

# Fields of the model by their headings in the files.
HEADINGS: Mapping[str, str] = {"a": "from", "b": "to"}

Flat = dict[str, str]
INNER = (BusSource, Message, Talk, UnitContact, UnitPath)
Thing = (
    Run
    | Connector
    | Unit
    | UnitType
    | Feed
    | Part
    | Bus
    | BusSource
    | Link
    | Cable
    | Limits
    | Message
    | Talk
    | UnitContact
    | UnitPath
)


def all_flat(things: Iterable[Thing], key: str) -> dict[str, Flat]:
    found: dict[str, Flat] = {}
    for thing in things:
        name = str(getattr(thing, key))
        while name in found:  # listed twice: the review says so
            name += " (again)"
        found[name] = {heading: text for heading, text in flat(thing).items() if heading != key}
    return found


def types_flat(harness: Harness) -> dict[str, Flat]:
    return {unit.type.name: flat(unit.type) for unit in harness.units.values()}


def profile_flat(harness: Harness) -> Flat:
    found = {
        "title": harness.title,
        "ambient_c": _text(harness.ambient_c),
        "chassis": harness.chassis,
        "insulation_c": _text(harness.insulation_c),
    }
    found |= {f"signal {entry.bus} {entry.name}": entry.limits_text for entry in harness.signals}
    return found | {f"closeout {family}": _text(items) for family, items in harness.closeout.items()}


def flat(thing: Thing, before: str = "") -> Flat:
    """Heading -> text of every field, those of what it holds as well; without places in files."""
    found: Flat = {}
    for entry in fields(thing):
        value = getattr(thing, entry.name)
        if entry.name == "place":
            continue
        if isinstance(value, UnitType):
            value = value.name  # compared for itself
        heading = before + HEADINGS.get(entry.name, entry.name)
        if isinstance(value, Mapping):
            found |= {f"{heading} {key}": _text(item) for key, item in value.items()}
        elif isinstance(value, tuple) and value and isinstance(value[0], INNER):
            for name, inner in _named(value):
                found |= flat(inner, f"{name} ")
        else:
            found[heading] = _text(value)
    return found


def _named(things: Iterable[Thing]) -> Iterable[tuple[str, Thing]]:
    seen: Counter[str] = Counter()
    for thing in things:
        match thing:
            case UnitContact():
                name = join(thing.connector, thing.contact)
            case UnitPath():
                name = f"{thing.kind.value} {thing.a}:{thing.b}"
            case BusSource():
                name = f"source {thing.unit} by {thing.text}"
            case Talk():
                name = f"talk {thing.tx}"
            case Message():
                name = f"message {thing.can_id:X}{'x' if thing.extended else ''}"
            case _:
                name = ""
        seen[name] += 1
        yield (name if seen[name] == 1 else f"{name} ({seen[name]})"), thing


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, float):
        return f"{value:.12g}"
    if isinstance(value, TextProtocol):
        return value.told
    if isinstance(value, Signal):
        return value.text
    if isinstance(value, frozenset):
        return ", ".join(sorted((_text(item) for item in value), key=contact_key))
    if isinstance(value, tuple):
        parts = [f"[{_text(item)}]" if isinstance(item, tuple) else _text(item) for item in value]
        return ", ".join(parts)
    return str(value)
