"""Taking values out of event bodies, which are JSON that somebody else wrote: what is missing or odd becomes nothing."""

from __future__ import annotations

import math
from collections.abc import Mapping

Json = Mapping[str, object]


def text(body: Json, key: str) -> str:
    """The text at `key`; numbers are written out, anything else is nothing."""
    value = body.get(key)
    if isinstance(value, bool) or value is None:
        return ""
    if isinstance(value, str):
        return value
    return f"{value:g}" if isinstance(value, int | float) else ""


def number(body: Json, key: str) -> float | None:
    """The finite number at `key`."""
    value = body.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        return float(value) if math.isfinite(value) else None
    except OverflowError:
        return None


def table(body: Json, key: str) -> Json:
    """The JSON object at `key`."""
    value = body.get(key)
    return {str(name): entry for name, entry in value.items()} if isinstance(value, Mapping) else {}


def entries(body: Json, key: str) -> tuple[object, ...]:
    """The JSON array at `key`."""
    value = body.get(key)
    return tuple(value) if isinstance(value, list | tuple) else ()


def texts(body: Json, key: str) -> tuple[str, ...]:
    """The texts of the array at `key`; a lone text is an array of one."""
    value = body.get(key)
    if isinstance(value, str):
        return (value,) if value else ()
    return tuple(entry for entry in entries(body, key) if isinstance(entry, str))


def named(body: Json, key: str) -> tuple[tuple[str, str], ...]:
    """What stands at `key` as pairs of name and words: an object's entries, an array's texts, or one text."""
    value = body.get(key)
    if isinstance(value, Mapping):
        inner = table(body, key)
        return tuple((name, text(inner, name) or _words(entry)) for name, entry in inner.items())
    if isinstance(value, list | tuple):
        return tuple(("", _words(entry)) for entry in value)
    found = text(body, key)
    return (("", found),) if found else ()


def _words(value: object) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_words(entry)}" for name, entry in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(_words(entry) for entry in value)
    return "" if value is None else str(value)
