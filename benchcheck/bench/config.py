"""What is on the bench: bench.toml, or the same keys as a mapping, as a frozen BenchConfig.

    name = "bay bench"
    [[can]]
    bus = "can1"
    interface = "slcan"                # as python-can takes it
    channel = "/dev/serial/by-id/..."
    bitrate = 250000                   # optional: the profile's bus has one
    [[serial]]
    name = "tap1"
    port = "/dev/serial/by-id/..."
    [meter]
    resource = "ASRL/dev/serial/by-id/...::INSTR"     # or manual = true: readings are typed in
    identity = "7310"                  # optional: text that must stand in its answer to *IDN?
    baud = 9600
    [meter.accuracy]                   # optional: fields of words.meter.MeterSpec
    ohm_percent = 0.05
    [supply]
    resource = "TCPIP::192.0.2.7::5025::SOCKET"

This module imports pydantic: import it only where a bench is used.
"""

from __future__ import annotations

import dataclasses
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from benchcheck.words.errors import FaultyFiles, FileFault, Place
from benchcheck.words.meter import MeterSpec

_Text = Annotated[str, Field(min_length=1, max_length=300, pattern=r"^[^\x00-\x1f\x7f]+$")]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class CanPort(_Frozen):
    bus: _Text
    interface: _Text = "slcan"
    channel: _Text
    bitrate: int | None = Field(default=None, gt=0, le=1_000_000)


class SerialPort(_Frozen):
    name: _Text
    port: _Text


class InstrumentPort(_Frozen):
    """A SCPI instrument. `baud` counts on a serial port only."""

    resource: _Text
    identity: str = Field(default="", max_length=200)
    baud: int = Field(default=9600, gt=0)


class MeterPort(_Frozen):
    resource: str = Field(default="", max_length=300)
    manual: bool = False
    identity: str = Field(default="", max_length=200)
    baud: int = Field(default=9600, gt=0)
    accuracy: dict[str, float | str] = Field(default_factory=dict)

    @field_validator("accuracy", mode="before")
    @classmethod
    def _known_figures(cls, given: object) -> object:
        if not isinstance(given, Mapping):
            raise ValueError("must be a table of figures")
        known = {entry.name: entry.type for entry in dataclasses.fields(MeterSpec)}
        for key, value in given.items():
            if key not in known:
                raise ValueError(f"unknown key '{key}'; {_nearest(str(key), list(known))}")
            if known[key] == "str":
                if not isinstance(value, str):
                    raise ValueError(f"{key} must be text")
            elif isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value < 1e30:
                raise ValueError(f"{key} must be a number of at least 0")
        return {key: value if isinstance(value, str) else float(value) for key, value in given.items()}

    @model_validator(mode="after")
    def _one_way_to_read(self) -> MeterPort:
        if self.manual == bool(self.resource):
            raise ValueError("give either resource, or manual = true for readings that are typed in")
        return self

    @property
    def spec(self) -> MeterSpec:
        """The meter's accuracy: that of an ordinary handheld one, with this bench's figures over it."""
        figures: dict[str, Any] = dict(self.accuracy)
        return dataclasses.replace(MeterSpec(), **figures)


class HandsPort(_Frozen):
    port: _Text


class BenchConfig(_Frozen):
    """The bench as described. A bench without meter has readings typed in."""

    name: _Text = "bench"
    simulated: bool = False
    can: tuple[CanPort, ...] = ()
    serial: tuple[SerialPort, ...] = ()
    meter: MeterPort | None = None
    supply: InstrumentPort | None = None
    hands: HandsPort | None = None

    @field_validator("can", "serial", mode="before")
    @classmethod
    def _list_of_tables(cls, given: object) -> object:
        return tuple(given) if isinstance(given, list) else given

    @field_validator("can")
    @classmethod
    def _a_bus_once(cls, ports: tuple[CanPort, ...]) -> tuple[CanPort, ...]:
        _unique("bus", [port.bus for port in ports])
        return ports

    @field_validator("serial")
    @classmethod
    def _a_name_once(cls, ports: tuple[SerialPort, ...]) -> tuple[SerialPort, ...]:
        _unique("name", [port.name for port in ports])
        return ports

    @model_validator(mode="after")
    def _ports_fit(self) -> BenchConfig:
        _unique(
            "port", [port.channel for port in self.can if port.interface == "slcan"] + [s.port for s in self.serial]
        )
        if self.hands is not None and not self.simulated:
            raise ValueError("hands belong to a simulated bench; at a real one you move the probes")
        return self

    @property
    def meter_spec(self) -> MeterSpec:
        return self.meter.spec if self.meter is not None else MeterSpec()


def config_from_mapping(values: Mapping[str, object], *, source: str = "bench description") -> BenchConfig:
    """The bench from plain JSON or TOML values. FaultyFiles with every fault, its key and a hint."""
    return _validated(values, source, "")


def config_from_toml(text: str, file: str) -> BenchConfig:
    """The bench from the text of bench.toml; `file` is its name, for messages. FaultyFiles as above, with lines."""
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"\s*\(at line (\d+), column (\d+)\)", str(error))
        where = Place(file, int(place[1]), int(place[2])) if place else Place(file)
        what = str(error)[: place.start()] if place else str(error)
        fault = FileFault(where, what, "This is not TOML: look at the line and the one before it.")
        raise FaultyFiles(file, [fault]) from None
    return _validated(values, file, text)


def _validated(values: Mapping[str, object], file: str, text: str) -> BenchConfig:
    try:
        return BenchConfig.model_validate(dict(values))
    except ValidationError as error:
        faults = [_fault(entry, file, text) for entry in error.errors(include_url=False)]
        raise FaultyFiles(file, faults) from None


def _fault(entry: Mapping[str, Any], file: str, text: str) -> FileFault:
    location: tuple[str | int, ...] = entry["loc"]
    key = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in location).lstrip(".")
    place = Place(file, _line_of(text, location))
    said = str(entry["msg"]).removeprefix("Value error, ")
    if entry["type"] == "extra_forbidden":
        known = list(_fields_at(location[:-1]))
        return FileFault(place, f"unknown key {key!r}", _nearest(str(location[-1]), known))
    if entry["type"] == "missing":
        return FileFault(place, f"{key} is missing", "Add it.")
    shown = f"{key}: " if key else ""
    given = entry.get("input")
    value = (
        f", not {str(given)[:60]!r}" if isinstance(given, (str, int, float)) and "input should" in said.lower() else ""
    )
    return FileFault(place, f"{shown}{said[0].lower()}{said[1:]}{value}", "")


def _fields_at(location: Sequence[str | int]) -> Iterator[str]:
    """The keys that are known in the table at `location`."""
    model: type[BaseModel] = BenchConfig
    tables: dict[str, type[BaseModel]] = {
        "can": CanPort,
        "serial": SerialPort,
        "meter": MeterPort,
        "supply": InstrumentPort,
        "hands": HandsPort,
    }
    for part in location:
        if isinstance(part, str):
            model = tables[part]
    yield from model.model_fields


def _nearest(word: str, known: Sequence[str]) -> str:
    near = get_close_matches(word, known, n=1)
    return f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(known)}."


def _unique(what: str, names: Sequence[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"{what} given twice: {', '.join(twice)}")


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
