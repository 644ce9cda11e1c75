"""What is wrong in a bench description, in the words of whoever wrote it: the key, its line, and what is known there.

This module imports pydantic: import it only where a bench is used.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from benchcheck.bench.instruments.meter_figures import nearest
from benchcheck.words.errors import FileFault, Place


def faults_of(error: ValidationError, model: type[BaseModel], file: str, text: str) -> list[FileFault]:
    """Every fault. `model` is that of the whole description, `text` the TOML that it came from; empty where it was none."""
    return [_fault(entry, model, file, text) for entry in error.errors(include_url=False)]


def _fault(entry: ErrorDetails, model: type[BaseModel], file: str, text: str) -> FileFault:
    location: tuple[str | int, ...] = entry["loc"]
    key = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in location).lstrip(".")
    place = Place(file, _line_of(text, location))
    said = str(entry["msg"]).removeprefix("Value error, ")
    if entry["type"] == "extra_forbidden":
        known = list(_table_at(model, location[:-1]).model_fields)
        return FileFault(place, f"unknown key {key!r}", nearest(str(location[-1]), known))
    if entry["type"] == "missing":
        return FileFault(place, f"{key} is missing", "Add it.")
    shown = f"{key}: " if key else ""
    given = entry.get("input")
    value = (
        f", not {str(given)[:60]!r}" if isinstance(given, (str, int, float)) and "input should" in said.lower() else ""
    )
    return FileFault(place, f"{shown}{said[0].lower()}{said[1:]}{value}", "")


def _table_at(model: type[BaseModel], location: Sequence[str | int]) -> type[BaseModel]:
    """The model of the table at `location`."""
    for part in location:
        if isinstance(part, str):
            model = next(_models_in(model.model_fields[part].annotation))
    return model


def _models_in(annotation: object) -> Iterator[type[BaseModel]]:
    """The models that an annotation names: `tuple[CanPort, ...]`, `MeterPort | None`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _models_in(inner)


def _line_of(text: str, location: Sequence[str | int]) -> int | None:
    """The line of a key in plain TOML (tables and arrays of tables); the table's own line where the key is absent."""
    if not text or not location:
        return None
    keys = [part for part in location if isinstance(part, str)]
    index = next((part for part in location if isinstance(part, int)), 0)
    table, seen, best = "", {"": 0}, None
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[\[?\s*([^\]]+?)\s*\]", line)
        if header:
            table = header[1].replace(" ", "")
            seen[table] = seen.get(table, -1) + 1
            if table == ".".join(keys[: table.count(".") + 1]) and seen[table] == index:
                best = number
            continue
        key = re.match(r"""\s*["']?([A-Za-z0-9_-]+)["']?\s*[=.]""", line)
        inside = ".".join(keys[:-1])
        if key and key[1] == keys[-1] and table == inside and seen[table] == (index if table else 0):
            return number
        if key and len(keys) > 1 and not table and key[1] == keys[0] and best is None:
            best = number
    return best
