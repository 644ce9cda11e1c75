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
    ohm_percent = 0.05                 # percent of reading…
    ohm_counts = 3                     # …plus counts, each worth the resolution of the range
    ohm_ranges = [{ full_scale = 600, resolution = 0.1 }, { full_scale = 6e3, resolution = 1 }]
    four_wire = true                   # it reads with four wires (Kelvin clips) as well
    four_wire_ranges = [{ full_scale = 20, resolution = 1e-6, percent = 0.02, counts = 10 }]
    lead_hours = 4                     # so long the leads' zero is good; then they are measured again
    [supply]
    resource = "TCPIP::192.0.2.7::5025::SOCKET"
    [supply.watchdog]                  # optional: commands of a supply that has a watchdog of its own
    arm = "SYST:WATC 3"                # output off when it has not been fed for 3 s, as its manual says
    feed = "SYST:WATC:FEED"
    disarm = "SYST:WATC 0"
    every_s = 1.0                      # how often it is fed; at most a third of the above
    [matrix]                           # optional: a switch matrix that puts the meter's leads on contacts
    resource = "TCPIP::192.0.2.8::5025::SOCKET"
    red = { P101-4 = "101", GND1 = "120" }     # contact -> the channel that puts the red rail on it
    black = { P101-5 = "201", GND1 = "220" }
    unattended = false                 # true: nobody is there, steps that need a person are left out
    [[breakouts]]                      # optional: without any, what a breakout lead adds is not known and not proved
    name = "25-way lead A"
    family = "dsub25"
    gender = "pin"                     # of its half that goes onto the harness connector
    ohm = 0.08                         # of one way, end to end
    within_ohm = 0.02                  # how well that is known; a quarter of it otherwise
    checked = 2031-05-04               # day of its last self-check
    check_days = 30                    # for so long it is good
    at = "P101"                        # optional: the only connector that it is for
    sockets = { A = "1", B = "2" }     # optional: its own labels -> contacts; otherwise they count alike

This module imports pydantic: import it only where a bench is used.
"""

from __future__ import annotations

import dataclasses
import re
import tomllib
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from benchcheck.bench.breakout_lead import CHECK_DAYS, BreakoutLead, default_within_ohm
from benchcheck.bench.config_faults import faults_of
from benchcheck.bench.instruments.meter_figures import accuracy_figures, nearest
from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.model import Gender
from benchcheck.words.errors import FaultyFiles, FileFault, Place
from benchcheck.words.lead_zero import VALID_HOURS
from benchcheck.words.meter import MeterSpec

_Text = Annotated[str, Field(min_length=1, max_length=300, pattern=r"^[^\x00-\x1f\x7f]+$")]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class CanPort(_Frozen):
    bus: _Text
    interface: _Text = "slcan"
    channel: _Text
    bitrate: int | None = Field(default=None, gt=0, le=1_000_000)
    silence: str = ""  # how it was proved silent; kept elsewhere, see cli/silence_proofs.py

    @field_validator("silence")
    @classmethod
    def _is_proved_not_written(cls, given: str) -> str:
        if given:
            raise ValueError("silence is proved, not written: benchcheck ready --prove-silent BUS")
        return given


class SerialPort(_Frozen):
    name: _Text
    port: _Text


class InstrumentPort(_Frozen):
    """A SCPI instrument. `baud` counts on a serial port only."""

    resource: _Text
    identity: str = Field(default="", max_length=200)
    baud: int = Field(default=9600, gt=0)


class WatchdogKeys(_Frozen):
    """Commands of a supply's own watchdog."""

    arm: _Text
    feed: _Text
    disarm: _Text
    every_s: float = Field(default=1.0, gt=0, le=60)

    @field_validator("arm", "feed", "disarm")
    @classmethod
    def _no_query(cls, command: str) -> str:
        if "?" in command or not command.isascii():
            raise ValueError("must be a command and no query: nobody waits for an answer")
        return command


class SupplyPort(InstrumentPort):
    watchdog: WatchdogKeys | None = None


class MeterPort(_Frozen):
    resource: str = Field(default="", max_length=300)
    manual: bool = False
    identity: str = Field(default="", max_length=200)
    baud: int = Field(default=9600, gt=0)
    lead_hours: float = Field(default=VALID_HOURS, gt=0, le=1000)
    accuracy: dict[str, Any] = Field(default_factory=dict)

    @field_validator("accuracy", mode="before")
    @classmethod
    def _known_figures(cls, given: object) -> object:
        return accuracy_figures(given)

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


class MatrixPort(InstrumentPort):
    """A switch matrix, see matrix.Matrix. Channels as its maker writes them, `101` or `1!1!1`."""

    red: dict[str, str] = Field(min_length=1)
    black: dict[str, str] = Field(min_length=1)
    unattended: bool = False

    @field_validator("red", "black")
    @classmethod
    def _channels(cls, rail: dict[str, str]) -> dict[str, str]:
        for contact, channel in rail.items():
            if not re.fullmatch(r"[^\x00-\x20\x7f]{1,60}", contact):
                raise ValueError(f"{contact!r} is no contact")
            if not re.fullmatch(r"[0-9]{1,6}(![0-9]{1,6}){0,3}", channel):
                raise ValueError(f'channel {channel!r} of {contact}: write it as "101" or "1!1!1"')
        _unique("channel", list(rail.values()))
        return rail

    @model_validator(mode="after")
    def _rails_apart(self) -> MatrixPort:
        _unique("channel", [*self.red.values(), *self.black.values()])
        return self


class HandsPort(_Frozen):
    port: _Text


class BreakoutPort(_Frozen):
    """A breakout lead, see breakout_lead.BreakoutLead."""

    name: _Text
    family: _Text
    gender: _Text
    ohm: float = Field(ge=0, le=10)
    within_ohm: float | None = Field(default=None, ge=0, le=10)
    checked: date | None = None
    check_days: int = Field(default=CHECK_DAYS, gt=0, le=3660)
    at: str = Field(default="", max_length=40)
    sockets: dict[str, str] = Field(default_factory=dict)

    @field_validator("family")
    @classmethod
    def _known_family(cls, family: str) -> str:
        known = [name for name, entry in FAMILIES.items() if entry.has_gender]
        if family not in known:
            raise ValueError(f"unknown family '{family}'; {nearest(family, known)}")
        return family

    @field_validator("gender")
    @classmethod
    def _a_half(cls, gender: str) -> str:
        if gender not in (Gender.PIN.value, Gender.SOCKET.value):
            raise ValueError('must be "pin" or "socket", of the half that goes onto the harness connector')
        return gender

    @field_validator("checked", mode="before")
    @classmethod
    def _a_day(cls, given: object) -> object:
        if isinstance(given, datetime):
            return given.date()
        if isinstance(given, str):  # JSON has no dates
            try:
                return date.fromisoformat(given)
            except ValueError:
                pass
        if given is None or isinstance(given, date):
            return given
        raise ValueError("must be a day: 2031-05-04")

    @field_validator("sockets")
    @classmethod
    def _each_contact_once(cls, sockets: dict[str, str]) -> dict[str, str]:
        _unique("contact", list(sockets.values()))
        for name in (*sockets, *sockets.values()):
            if not re.fullmatch(r"[^\x00-\x1f\x7f]{1,40}", name):
                raise ValueError("labels and contacts are short names")
        return sockets

    @model_validator(mode="after")
    def _contacts_are_there(self) -> BreakoutPort:
        known = FAMILIES[self.family].contacts
        strange = [pin for pin in self.sockets.values() if known and pin not in known]
        if strange:
            raise ValueError(f"sockets: a {self.family} has no contact {', '.join(strange[:3])}")
        return self

    @property
    def lead(self) -> BreakoutLead:
        within_ohm = self.within_ohm if self.within_ohm is not None else default_within_ohm(self.ohm)
        return BreakoutLead(
            self.name,
            self.family,
            Gender(self.gender),
            self.ohm,
            within_ohm,
            self.checked,
            self.check_days,
            self.at,
            self.sockets,
        )


class BenchConfig(_Frozen):
    """The bench as described. A bench without meter has readings typed in."""

    name: _Text = "bench"
    simulated: bool = False
    can: tuple[CanPort, ...] = ()
    serial: tuple[SerialPort, ...] = ()
    meter: MeterPort | None = None
    supply: SupplyPort | None = None
    matrix: MatrixPort | None = None
    hands: HandsPort | None = None
    breakouts: tuple[BreakoutPort, ...] = ()

    @field_validator("can", "serial", "breakouts", mode="before")
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

    @field_validator("breakouts")
    @classmethod
    def _a_lead_once(cls, leads: tuple[BreakoutPort, ...]) -> tuple[BreakoutPort, ...]:
        _unique("name", [lead.name for lead in leads])
        return leads

    @model_validator(mode="after")
    def _ports_fit(self) -> BenchConfig:
        _unique(
            "port", [port.channel for port in self.can if port.interface == "slcan"] + [s.port for s in self.serial]
        )
        if self.hands is not None and not self.simulated:
            raise ValueError("hands belong to a simulated bench; at a real one you move the probes")
        return self

    @property
    def leads(self) -> tuple[BreakoutLead, ...]:
        """The breakout leads that are listed; none where the bench file has no such table."""
        return tuple(port.lead for port in self.breakouts)

    @property
    def lead_hours(self) -> float:
        """Hours for which the zero of the meter's leads is good."""
        return self.meter.lead_hours if self.meter is not None else VALID_HOURS

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
        raise FaultyFiles(file, faults_of(error, BenchConfig, file, text)) from None


def _unique(what: str, names: Sequence[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"{what} given twice: {', '.join(twice)}")
