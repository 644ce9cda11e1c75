"""Reading the faults file (TOML, a list of `[[faults]]` tables), and the truth list for the tests."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import MISSING, fields
from difflib import get_close_matches
from pathlib import Path

from benchcheck.harness.model import Harness
from benchcheck.simulator.faults import KINDS, Fault
from benchcheck.words.errors import FaultyFiles, FileFault, InputError, Place

_HEADER = re.compile(r"\s*\[\[\s*faults\s*\]\]")
_SHAPES = {
    "str": "text in quotes",
    "float": "a number",
    "int": "a whole number",
    "tuple[str, str]": "a list of two names in quotes",
}


def read_faults(path: Path, harness: Harness) -> tuple[Fault, ...]:
    """The faults in `path`, checked against `harness`.

    Raises InputError where the file can't be read, FaultyFiles with every fault of the file otherwise.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(f"can't be read: {error.strerror}", where=str(path), hint="Check the path.") from error
    except UnicodeDecodeError as error:
        raise InputError("is not UTF-8 text", where=str(path), hint="Save the file as UTF-8.") from error
    return parse_faults(text, harness, str(path))


def parse_faults(text: str, harness: Harness, file: str = "faults.toml") -> tuple[Fault, ...]:
    """The faults in the text of a faults file. Raises FaultyFiles as read_faults does."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"line (\d+), column (\d+)", str(error))
        place = Place(file, int(at[1]), int(at[2])) if at else Place(file)
        wrong = FileFault(place, f"not TOML: {error}", "Mend the line; names and text stand in quotes.")
        raise FaultyFiles("the faults file", [wrong]) from error
    places = _Places(text, file)
    found: list[Fault] = []
    wrongs: list[FileFault] = []
    for key in document:
        if key not in ("faults", "schema"):
            wrongs.append(FileFault(places.top(key), f"unknown key {key!r}", "Faults stand in [[faults]] tables."))
    tables = document.get("faults", [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        wrongs.append(FileFault(Place(file), "`faults` is no list of tables", "Head each fault with [[faults]]."))
        tables = []
    for number, table in enumerate(tables):
        fault, complaints = _one(table, harness)
        wrongs += [FileFault(places.key(number, key), text, hint) for key, text, hint in complaints]
        if fault is not None:
            found.append(fault)
    if wrongs:
        raise FaultyFiles("the faults file", wrongs)
    return tuple(found)


def write_truth(path: Path, faults: Sequence[Fault], harness: Harness) -> None:
    """Write what was planted, for the tests: a JSON list of the tables with `stage` and `where`."""
    path.write_text(json.dumps([fault.truth(harness) for fault in faults], indent=2) + "\n", encoding="utf-8")


def _one(table: Mapping[str, object], harness: Harness) -> tuple[Fault | None, list[tuple[str, str, str]]]:
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        text = "the fault has no kind" if kind is None else f"unknown kind {kind!r}"
        return None, [("kind", text, _choose(str(kind or ""), tuple(KINDS)))]
    shape = KINDS[kind]
    wanted = {entry.name: entry for entry in fields(shape)}
    wrongs = [
        (key, f"unknown key {key!r} for {kind}", _choose(key, tuple(wanted)))
        for key in table
        if key != "kind" and key not in wanted
    ]
    values: dict[str, object] = {}
    for name, entry in wanted.items():
        form = str(entry.type)
        if name not in table:
            if entry.default is MISSING:
                wrongs.append(("kind", f"{kind} needs {name!r}", f"Give {name} = {_SHAPES[form]}."))
            continue
        value = _shaped(table[name], form)
        if value is None:
            wrongs.append((name, f"{name!r} is {table[name]!r}", f"It must be {_SHAPES[form]}."))
        else:
            values[name] = value
    if wrongs:
        return None, wrongs
    fault = shape(**values)
    wrongs = [(key, text, _choose(_asked(table, key, text), names)) for key, text, names in fault.complaints(harness)]
    return fault, wrongs


def _asked(table: Mapping[str, object], key: str, text: str) -> str:
    """The name that the complaint is about, for the nearest-name hint."""
    value = table.get(key, "")
    if isinstance(value, list):
        return next((str(item) for item in value if repr(item) in text), "")
    return str(value)


def _choose(asked: str, names: Sequence[str]) -> str:
    near = get_close_matches(asked, names, n=1, cutoff=0.5)
    if near:
        return f"Did you mean {near[0]!r}?"
    if not names:
        return ""
    shown = ", ".join(names[:12])
    return f"Known: {shown}{', …' if len(names) > 12 else ''}."


def _shaped(value: object, form: str) -> object | None:
    if form == "str":
        return value if isinstance(value, str) else None
    if form == "int":
        return value if isinstance(value, int) and not isinstance(value, bool) else None
    if form == "float":
        return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else None
    if isinstance(value, list) and len(value) == 2 and all(isinstance(item, str) for item in value):
        return (value[0], value[1])
    return None


class _Places:
    """Where the n-th fault and its keys stand in the text: tomllib itself keeps no lines."""

    def __init__(self, text: str, file: str) -> None:
        self._file = file
        self._lines = text.splitlines()
        self._heads = [number for number, line in enumerate(self._lines) if _HEADER.match(line)]

    def top(self, key: str) -> Place:
        return self._find(key, 0, len(self._lines)) or Place(self._file)

    def key(self, fault: int, key: str) -> Place:
        if fault >= len(self._heads):
            return Place(self._file)
        first = self._heads[fault]
        last = self._heads[fault + 1] if fault + 1 < len(self._heads) else len(self._lines)
        return self._find(key, first, last) or Place(self._file, first + 1)

    def _find(self, key: str, first: int, last: int) -> Place | None:
        for number, column in self._matches(key, first, last):
            return Place(self._file, number, column)
        return None

    def _matches(self, key: str, first: int, last: int) -> Iterator[tuple[int, int]]:
        pattern = re.compile(rf"[\s\[\"]*({re.escape(key)})\b")
        for number in range(first, last):
            at = pattern.match(self._lines[number])
            if at:
                yield number + 1, at.start(1) + 1
