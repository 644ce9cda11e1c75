"""From the values of a TOML file to its forms, with every fault at its place and in plain words."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from benchcheck.harness.reading.forms import SCHEMA, Form
from benchcheck.harness.reading.hints import did_you_mean, nearest, shown
from benchcheck.harness.reading.toml_text import Path, TomlText
from benchcheck.words.errors import FileFault

F = TypeVar("F", bound=Form)

_UNITS = {
    "ohm": "ohms",
    "v": "volts",
    "a": "amperes",
    "c": "degrees Celsius",
    "s": "seconds",
    "percent": "percent",
    "m": "metres",
    "baud": "bits per second",
    "bitrate": "bits per second",
}
# texts that nothing else in a profile refers to
_SAID_NOWHERE_ELSE = ("title", "zone", "framing")
# choices on which it depends which other keys are wanted: none can stand in
_MISLEADING = {("ConnectorForm", "gender"), ("UnitConnectorForm", "gender"), ("UnitPathForm", "kind")}
_EXAMPLES = {"bitrate": "250000", "baud": "4800"}
# words of the trade for the same thing, for hints
_SAID = {"male": "pin", "female": "socket"}
_NUMBER = re.compile(r"\s*([-+]?\d+)(?:([.,])(\d+))?\s*(\S*)\s*\Z")


def read_form(form: type[F], doc: TomlText, path: Path, values: object, faults: list[FileFault]) -> F | None:
    """One table as its form; what is wrong in it is added to `faults`.

    Where only keys are wrong that nothing else refers to (numbers, choices, texts, unknown keys), others stand in for
    them, so that the rest of the table is checked all the same; else None. With a fault, no harness is made of it.
    """
    if not isinstance(values, dict):
        faults.append(
            FileFault(doc.place(path), "must be a table", f"Write [{path[-1] if path else ''}] above its keys.")
        )
        return None
    try:
        return form.model_validate(values)
    except ValidationError as error:
        details = error.errors(include_url=False)
        faults += [_fault(form, doc, path, dict(detail)) for detail in details]
        return _mended(form, values, [tuple(detail["loc"]) for detail in details])


def _mended(form: type[F], values: Mapping[str, Any], wrong: Sequence[Path]) -> F | None:
    """The form with stand-ins for what is wrong; None where there is none that misleads no further check."""
    kept = dict(values)
    known = {info.alias or name: info for name, info in form.model_fields.items()}
    for loc in wrong:
        key = str(loc[0]) if loc else ""
        kept.pop(key, None)
        if key in known:
            stand_in = _stand_in(form, key, known[key])
            if stand_in is None:
                return None
            kept[key] = stand_in
    try:
        return form.model_validate(kept)
    except ValidationError:
        return None


def _stand_in(form: type[Form], key: str, info: FieldInfo) -> object | None:
    if key in _SAID_NOWHERE_ELSE:
        return "?" if info.is_required() else info.default
    if (form.__name__, key) not in _MISLEADING and (
        choices := [name for name in _literals(form, key) if isinstance(name, str | int)]
    ):
        return choices[0]
    if get_origin(info.annotation) is dict or not _kinds(info.annotation) & {int, float}:
        return None
    bounds = {name: getattr(item, name) for item in info.metadata for name in ("gt", "ge", "le") if hasattr(item, name)}
    low, high = bounds.get("gt", bounds.get("ge", 0)), bounds.get("le", math.inf)
    return next((number for number in (1, low + 1, (low + high) / 2) if low < number <= high), None)


def _kinds(annotation: object) -> set[object]:
    """The types that an annotation is made of: of `Annotated[float, ...] | None`, float and NoneType among them."""
    return {annotation}.union(
        *(_kinds(part) for part in get_args(annotation) if isinstance(part, type) or get_args(part))
    )


def read_list(
    form: type[F], doc: TomlText, path: Path, values: object, faults: list[FileFault]
) -> list[tuple[Path, F]]:
    """The tables of a list that are right, each with its path; the wrong ones are in `faults`."""
    if not isinstance(values, list | tuple):
        return []  # its shape was found wrong already, one level up
    found: list[tuple[Path, F]] = []
    for index, entry in enumerate(values):
        if not isinstance(entry, dict):
            continue  # likewise
        item = read_form(form, doc, (*path, index), entry, faults)
        if item is not None:
            found.append(((*path, index), item))
    return found


def schema_fault(doc: TomlText) -> FileFault | None:
    """A fault where the file says a version that this program doesn't read. Then the rest isn't judged."""
    version = doc.values.get("schema")
    if isinstance(version, int) and not isinstance(version, bool) and version != SCHEMA:
        return FileFault(
            doc.place(("schema",)),
            f"schema version {version} is unknown",
            f"This benchcheck reads schema {SCHEMA}. Is the file made for a later version?",
        )
    return None


def _fault(form: type[Form], doc: TomlText, path: Path, detail: Mapping[str, Any]) -> FileFault:
    loc: Path = tuple(detail["loc"])
    kind: str = detail["type"]
    value = detail.get("input")
    key = next((str(part) for part in reversed(loc) if isinstance(part, str)), "")
    context: Mapping[str, Any] = detail.get("ctx") or {}
    if kind == "missing":
        return FileFault(doc.key_place((*path, *loc[:-1])), f"key '{key}' is missing", _describe(form, key))
    if kind == "extra_forbidden":
        known = _keys(form)
        hint = did_you_mean(key, known, what="Keys", most=20)
        return FileFault(doc.key_place((*path, *loc)), f"unknown key {shown(key)}", hint)
    place = doc.place((*path, *loc))
    if kind == "own":
        return FileFault(place, f"{key}: {context['text']}", str(context["hint"]))
    if kind in ("literal_error", "enum"):
        names = [str(name) for name in _literals(form, key) if name is not None]
        near = _SAID.get(value.casefold()) or nearest(value, names) if isinstance(value, str) else ""
        hint = f"Did you mean '{near}'?" if near else f"One of: {', '.join(names)}."
        return FileFault(place, f"{key}: unknown value {shown(value)}", hint)
    if kind in ("float_type", "int_type", "float_parsing", "int_parsing", "int_from_float"):
        return FileFault(
            place,
            f"{key}: {shown(value)} is no {'whole ' if 'int' in kind else ''}number",
            number_hint(key, value, whole="int" in kind),
        )
    if kind == "string_type":
        hint = f'Write it in quotes: "{value}".' if isinstance(value, int | float) else "A text in quotes is wanted."
        return FileFault(place, f"{key}: {shown(value)} is no text", hint)
    if kind in ("tuple_type", "list_type"):
        hint = (
            f"Write [[{key}]] above each one." if isinstance(value, dict) else 'Write a list in brackets: ["4", "5"].'
        )
        return FileFault(place, f"{key}: a list is wanted", hint)
    if kind in ("dict_type", "model_type"):
        return FileFault(place, f"{key}: a table is wanted", f"Write [{key}], and its keys below.")
    if bounds := _bound(kind, context, key):
        return FileFault(place, f"{key}: {shown(value)} {bounds}", _describe(form, key))
    message = str(detail["msg"])
    return FileFault(place, f"{key}: {message[:1].lower()}{message[1:]}", _describe(form, key))


def number_hint(key: str, value: object, *, whole: bool = False) -> str:
    """What to write instead of a number that is none: decimal commas, units, quotes."""
    unit = _UNITS.get(key.rpartition("_")[2], "")
    wanted = f"a {'whole ' if whole else ''}number{f' in {unit}' if unit else ''}"
    if isinstance(value, float):
        tail = f": {round(value)}" if math.isfinite(value) and abs(value) < 1e15 else ""
        return f"{wanted[:1].upper()}{wanted[1:]} is wanted{tail}."
    found = _NUMBER.match(value) if isinstance(value, str) and len(value) < 40 else None
    if found is None or (whole and found[3]):
        example = _EXAMPLES.get(key, "1") if whole else "1.5"
        return f"{wanted[:1].upper()}{wanted[1:]} is wanted, as {example}."
    number = found[1] + (f".{found[3]}" if found[3] else "")
    if found[2] == ",":
        return f"A decimal comma? Write {number}{f' (in {unit})' if unit else ''}."
    if found[4]:
        return f"Write the number alone, in {unit or 'the unit that the name says'}: {number}."
    return f"Write it without quotes: {number}."


def _bound(kind: str, context: Mapping[str, Any], key: str) -> str:
    unit = _UNITS.get(key.rpartition("_")[2], "")
    tail = f" {unit}" if unit else ""
    match kind:
        case "greater_than":
            return f"is too small: more than {context['gt']:g}{tail} is wanted"
        case "greater_than_equal":
            return f"is too small: at least {context['ge']:g}{tail} is wanted"
        case "less_than":
            return f"is too large: less than {context['lt']:g}{tail} is wanted"
        case "less_than_equal":
            return f"is too large: at most {context['le']:g}{tail} is wanted"
        case "string_too_short" | "too_short":
            return "is empty or too short"
        case "string_too_long" | "too_long":
            return f"is too long: at most {context['max_length']}"
        case "finite_number":
            return "is more than a number can hold, or no number at all"
    return ""


def _keys(form: type[Form]) -> list[str]:
    return [info.alias or name for name, info in form.model_fields.items()]


def _describe(form: type[BaseModel], key: str) -> str:
    for name, info in form.model_fields.items():
        if key in (name, info.alias) and info.description:
            return f"{info.description[:1].upper()}{info.description[1:]}."
    return ""


def _literals(form: type[BaseModel], key: str) -> list[Any]:
    for name, info in form.model_fields.items():
        if key in (name, info.alias):
            args = get_args(info.annotation)
            inner = [value for arg in args for value in get_args(arg)]
            return inner or [arg for arg in args if isinstance(arg, str)]
    return []
