"""The form of harness.toml: which tables and keys there are, their units, defaults and bounds.

Written once here; reading, hints and the documented table of keys come from it.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, Strict
from pydantic_core import PydanticCustomError

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.line_pattern import LONGEST_PATTERN
from benchcheck.harness.reading.hints import did_you_mean, shown, unseen
from benchcheck.words.contact import RING, SHELL, is_contact, is_ref

SCHEMA = 1
_PIN = re.compile(r"[A-Za-z0-9_]+\Z")
_TYPE = re.compile(r"[a-z0-9_]+\Z")
_FRAMING = re.compile(r"[78][NEO][12]\Z")


def wrong(text: str, hint: str = "") -> PydanticCustomError:
    """A fault in our own words; the reader turns it into a FileFault."""
    return PydanticCustomError("own", "{text}", {"text": text, "hint": hint})


def _seen(text: str) -> str:
    if bad := unseen(text):
        raise wrong(f"holds the unseen character U+{ord(bad):04X}", "Type the text again without it.")
    return text


def _ref(text: str) -> str:
    if not is_ref(text):
        ref = text.partition("-")[0]
        hint = f"Without the contact: {ref}." if is_ref(ref) else "A letter, then letters, digits and _: P101."
        raise wrong(f"{shown(text)} can't be a reference", hint)
    return text


def _contact(text: str) -> str:
    if not is_contact(text):
        raise wrong(f"{shown(text)} is not written like a contact", "Reference, dash, contact: P101-4; a stud: GND2.")
    return text


def _pin(text: str) -> str:
    if not _PIN.match(text) or text in (SHELL, RING):
        raise wrong(f"{shown(text)} can't be a contact's name", "Letters, digits and _, without the connector: 4.")
    return text


def _family(text: str) -> str:
    if text not in FAMILIES:
        raise wrong(f"unknown family {shown(text)}", did_you_mean(text, FAMILIES, what="Families", most=40))
    return text


def is_type_name(text: str) -> bool:
    """Whether `text` can name a unit type; so it never leads out of the units folder."""
    return bool(_TYPE.match(text))


def is_file_name(text: str) -> bool:
    """Whether `text` names a file in the profile's own folder."""
    return text not in ("", ".", "..") and not set("/\\:\0") & set(text) and len(text) <= 120


def _type_name(text: str) -> str:
    if not is_type_name(text):
        raise wrong(
            f"{shown(text)} can't be a unit type", "It is the name of the file in units/ without .toml: a-z, 0-9, _."
        )
    return text


def _file_name(text: str) -> str:
    if not is_file_name(text):
        raise wrong(f"{shown(text)} must be a file beside harness.toml", "Give its name without a folder: launch.dbc.")
    return text


def _framing(text: str) -> str:
    if not _FRAMING.match(text):
        raise wrong(f"unknown framing {shown(text)}", "Data bits, parity, stop bits: 8N1, 7E1.")
    return text


def _unique(names: tuple[str, ...]) -> tuple[str, ...]:
    for index, name in enumerate(names):
        if name in names[:index]:
            raise wrong(f"{shown(name)} is listed twice", "List it once.")
    return names


def _rows(rows: tuple[tuple[str, ...], ...]) -> tuple[tuple[str, ...], ...]:
    _unique(tuple(name for row in rows for name in row))
    return rows


Text = Annotated[str, Strict(), Field(max_length=500), AfterValidator(_seen)]
RawText = Annotated[str, Strict(), Field(max_length=8)]  # control characters and all
Name = Annotated[str, Strict(), Field(min_length=1, max_length=100), AfterValidator(_seen)]
Ref = Annotated[str, Strict(), Field(max_length=40), AfterValidator(_ref)]
ContactName = Annotated[str, Strict(), Field(max_length=80), AfterValidator(_contact)]
Pin = Annotated[str, Strict(), Field(max_length=40), AfterValidator(_pin)]
Pins = Annotated[tuple[Pin, ...], AfterValidator(_unique)]
FamilyName = Annotated[str, Strict(), AfterValidator(_family)]
TypeName = Annotated[str, Strict(), Field(max_length=80), AfterValidator(_type_name)]
FileName = Annotated[str, Strict(), Field(max_length=120), AfterValidator(_seen), AfterValidator(_file_name)]
Framing = Annotated[str, Strict(), AfterValidator(_framing)]
Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Whole = Annotated[int, Strict()]
PinRows = Annotated[tuple[Annotated[tuple[Pin, ...], Field(min_length=1)], ...], AfterValidator(_rows)]
Spot = tuple[Number, Number]
Refs = Annotated[tuple[Ref, ...], AfterValidator(_unique)]
Words = Annotated[tuple[Name, ...], AfterValidator(_unique)]
Insulation = Literal[105, 150, 200]
GenderName = Literal["pin", "socket", "none"]


class Form(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False)


class LimitsForm(Form):
    """[limits]: limits that the profile sets for itself."""

    isolation_ohm: Number = Field(1e6, gt=0, le=1e9, description="least resistance between nets that must be apart")
    supply_to_ground_ohm: Number = Field(
        20.0, ge=0, le=1e6, description="least ohms of a feed to ground, units out, whatever parts lie between"
    )
    near_zero_v: Number = Field(0.3, gt=0, le=5, description="volts that count as dead")
    unit_current_percent: Number = Field(
        25.0, gt=0, le=100, description="how far a unit's current may be off, in percent"
    )
    contact_by_word: bool = Field(
        True, strict=True, description="whether an open reading passes by the operator's word that the probes touched"
    )


class ConnectorForm(Form):
    """[[connectors]]: a harness connector, terminal strip, stud or splice."""

    ref: Ref = Field(description="reference designator, as on the drawing")
    family: FamilyName = Field(description="connector family")
    gender: GenderName | None = Field(
        None, description="pin or socket, of the harness half; none for studs, splices, terminals"
    )
    unit: Ref | None = Field(None, description="unit that it mates with")
    unit_connector: Ref | None = Field(None, description="that unit's own name for its half")
    zone: Text = Field("", description="where in the bay it is reached")
    doubles: Pins = Field((), description="contacts in which two conductors are declared")
    rows: PinRows = Field(
        (), description="circular, terminals: contacts row by row on the mating face of the half with pins"
    )
    places: dict[Pin, Spot] = Field(
        {},
        description="circular: contact -> [x, y] in millimetres on the mating face of the half with pins, instead of rows",
    )
    contact_size: Name | None = Field(
        None, description="size of its contacts: 12, 16, 20, 22D; a family's own otherwise"
    )
    contact_sizes: dict[Pin, Name] = Field({}, description="contact -> size, where it differs")


class UnitForm(Form):
    """[[units]]: a unit of the bench."""

    ref: Ref = Field(description="reference of the unit")
    type: TypeName = Field(description="unit type: units/<type>.toml")
    title: Text = Field("", description="what it is called; default: the type's title")
    node: Name | None = Field(None, description="its name as a sender in the message database; default: ref")


class FeedForm(Form):
    """[[feeds]]: a supply and where it enters the harness."""

    name: Name = Field(description="what the feed is called")
    nominal_v: Number = Field(gt=0, le=400, description="nominal volts")
    tolerance_percent: Number = Field(10.0, gt=0, le=50, description="allowed deviation either way, in percent")
    source: ContactName = Field(description="contact that the bench supply or the converter drives")
    ground: ContactName = Field(description="contact of its return")
    converter: Ref | None = Field(None, description="unit that makes it; leave out for the bench supply")
    limit_a: Number = Field(5.0, gt=0, le=200, description="supply current limit, amperes")


class PartForm(Form):
    """[[parts]]: what sits between two contacts besides wire."""

    ref: Ref = Field(description="reference of the part")
    kind: Literal["protector", "switch", "relay", "resistor", "diode", "terminator"] = Field(description="kind of part")
    from_: ContactName = Field(alias="from", description="contact at one side; a diode's anode")
    to: ContactName = Field(description="contact at the other side")
    ohm: Number = Field(0.0, ge=0, le=1e9, description="resistance, ohms")
    tolerance_percent: Number = Field(10.0, ge=0, le=100, description="tolerance of the resistance, in percent")
    rating_a: Number | None = Field(None, gt=0, le=500, description="rated current, amperes")


class BusForm(Form):
    """[[buses]]: a CAN bus."""

    name: Name = Field(description="what the bus is called")
    bitrate: Whole = Field(ge=5_000, le=1_000_000, description="bits per second")
    data_bitrate: Whole | None = Field(
        None, ge=5_000, le=8_000_000, description="second bit rate of FD frames, bits per second"
    )
    nodes: Refs = Field(min_length=1, description="units in cable order")
    adapter_at: Ref = Field(description="connector at which the CAN adapter is joined")
    network: FileName | None = Field(None, description="message database beside harness.toml")
    max_load_percent: Number = Field(50.0, gt=0, le=100, description="most load allowed, in percent")
    max_stub_m: Number | None = Field(
        None, gt=0, le=100, description="longest branch, metres; what the bit rate allows otherwise"
    )
    sources: tuple[dict[str, Any], ...] = Field((), description="what units are told by beside the message database")


class BusSourceForm(Form):
    """[[buses.sources]]: what a unit sends, told by identifier, by parameter group or by source address."""

    unit: Ref = Field(description="unit that sends it")
    id: Whole | None = Field(None, ge=0, le=0x1FFF_FFFF, description="identifier, as 0x1A0")
    mask: Whole | None = Field(None, ge=0, le=0x1FFF_FFFF, description="which bits of the identifier count, as 0x7F0")
    extended: bool | None = Field(
        None, strict=True, description="whether id has 29 bits; where it is above 0x7FF it has"
    )
    address: Whole | None = Field(
        None, ge=0, le=253, description="source address of a 29-bit scheme: the identifier's lowest byte"
    )
    group: Whole | None = Field(None, ge=0, le=0x3_FFFF, description="parameter group of a 29-bit scheme")
    byte: Whole | None = Field(None, ge=0, le=63, description="number of a data byte, from 0, that has to have value")
    value: Whole | None = Field(None, ge=0, le=255, description="what that byte has to be")
    period_s: Number | None = Field(
        None, gt=0, le=86_400, description="seconds from one to the next; left out: once, or on occasion"
    )
    multi_frame: bool = Field(False, strict=True, description="whether one message may take several frames")
    instead: bool = Field(
        False, strict=True, description="whether what the database says of the unit is not waited for on this bus"
    )


class TalkForm(Form):
    """[[links.talks]]: one direction of a link."""

    tx: ContactName = Field(description="harness contact that mates with the transmitter")
    rx: ContactName = Field(description="harness contact that mates with the receiver")
    types: Words = Field((), description="sentence types or first words expected")
    period_s: Number | None = Field(
        None, gt=0, le=3600, description="seconds from one of a type to the next; left out: 1, and not judged"
    )


class LinkForm(Form):
    """[[links]]: a point-to-point RS-232 connection."""

    name: Name = Field(description="what the link is called")
    protocol: Name = Field(description="what is spoken: nmea0183, text, or a name of [[protocols]]")
    baud: Whole | None = Field(None, ge=50, le=1_000_000, description="bits per second; left out: found by listening")
    framing: Framing = Field("8N1", description="data bits, parity, stop bits")
    tap: Ref = Field(description="connector at which it is listened to")
    ground: ContactName = Field(description="signal ground contact there")
    loop_back: bool = Field(
        False, strict=True, description="whether its wires are proved by sending over a bridge at the far connector"
    )
    talks: tuple[dict[str, Any], ...] = Field((), description="its directions, one table each")


class ProtocolForm(Form):
    """[[protocols]]: a text protocol of RS-232 links, told by its lines."""

    name: Name = Field(description="what the protocol is called, for protocol of [[links]]")
    delimiter: RawText = Field("\r\n", description="what ends a line: up to 8 characters, none of them twice")
    pattern: Annotated[str, Strict(), Field(min_length=1, max_length=LONGEST_PATTERN)] = Field(
        description="what a whole line must have, without its checksum; the type stands in parentheses",
    )
    checksum: Literal["none", "xor", "sum", "crc16"] = Field(
        "none",
        description="none, xor of the bytes, sum of the bytes modulo 256, or crc16: hexadecimal digits at the line's end",
    )
    checksum_after: RawText = Field("", description="characters right before those digits, not summed")
    sum_from: RawText = Field("", description="characters with which a line begins and that are not summed")
    polynomial: Whole | None = Field(None, ge=1, le=0xFFFF, description="crc16: polynomial, as 0x1021")
    initial: Whole = Field(0, ge=0, le=0xFFFF, description="crc16: what the register begins with")
    reflected: bool = Field(False, strict=True, description="crc16: whether bits go in and come out lowest first")
    final_xor: Whole = Field(0, ge=0, le=0xFFFF, description="crc16: what the result is combined with at the end")
    check: Whole | None = Field(
        None, ge=0, le=0xFFFF, description="crc16: the published check value, that of the characters 123456789"
    )


class CableForm(Form):
    """[[cables]]: what is said of a cable beside the runs in it."""

    name: Name = Field(description="the cable, as the pin table names it")
    drained: Literal["one_end", "both_ends"] | None = Field(None, description="where its shield is tied to ground")
    sensitive: bool = Field(False, strict=True, description="whether it carries interference-sensitive circuits")
    unshielded_mm: Number | None = Field(
        None, ge=0, le=10_000, description="longest piece at an end where the cores leave the shield, millimetres"
    )
    drain_mm: Number | None = Field(None, ge=0, le=10_000, description="longest drain lead, millimetres")
    insulation_c: Insulation | None = Field(None, description="temperature rating of its wires: 105, 150 or 200")


class InBandForm(Form):
    """[[in_band]]: runs whose resistance must be in band, measured with four wires."""

    runs: Words = Field(min_length=1, description="wires; each with a gauge, a length and two ends")
    length_percent: Number = Field(10.0, ge=0, le=90, description="how far their lengths may be off, in percent")
    contact_ohm: Number | None = Field(
        None, ge=0, le=1, description="most ohms of a mated contact with its crimp; by its size otherwise"
    )


class SignalForm(Form):
    """[[signals]]: what is expected of a signal; at least one of low, high and stuck_s."""

    bus: Name = Field(description="the bus that it is heard on")
    message: Name = Field(description="its message, as the message database names it")
    signal: Name = Field(description="the signal, as the message database names it")
    low: Number | None = Field(None, description="least value that can be, in the database's unit")
    high: Number | None = Field(None, description="greatest value that can be, in the database's unit")
    stuck_s: Number | None = Field(None, gt=0, le=3600, description="seconds without a change that mean it is stuck")


class HarnessForm(Form):
    """The top of harness.toml."""

    schema_: Whole = Field(alias="schema", description="version of this form: 1")
    title: Name = Field(description="what the harness is")
    ambient_c: Number = Field(20.0, ge=-60, le=120, description="temperature of the wire, degrees Celsius")
    chassis: ContactName = Field(description="stud that is the equipment's ground")
    limits: dict[str, Any] = Field({}, description="limits of this profile")
    connectors: tuple[dict[str, Any], ...] = Field(description="connectors, studs, splices")
    units: tuple[dict[str, Any], ...] = Field((), description="units")
    feeds: tuple[dict[str, Any], ...] = Field((), description="supplies")
    parts: tuple[dict[str, Any], ...] = Field((), description="parts")
    buses: tuple[dict[str, Any], ...] = Field((), description="CAN buses")
    links: tuple[dict[str, Any], ...] = Field((), description="RS-232 links")
    protocols: tuple[dict[str, Any], ...] = Field((), description="text protocols of the links")
    cables: tuple[dict[str, Any], ...] = Field((), description="cables")
    in_band: tuple[dict[str, Any], ...] = Field((), description="runs whose resistance must be in band")
    signals: tuple[dict[str, Any], ...] = Field((), description="what is expected of signals of a bus")
    insulation_c: Insulation = Field(105, description="temperature rating of the wire: 105, 150 or 200")
    closeout: dict[str, Any] = Field({}, description="family -> close-out list")


# table in harness.toml -> its form, for the documented list of keys
HARNESS_TABLES: dict[str, type[Form]] = {
    "": HarnessForm,
    "limits": LimitsForm,
    "connectors": ConnectorForm,
    "units": UnitForm,
    "feeds": FeedForm,
    "parts": PartForm,
    "cables": CableForm,
    "in_band": InBandForm,
    "buses": BusForm,
    "buses.sources": BusSourceForm,
    "signals": SignalForm,
    "links": LinkForm,
    "links.talks": TalkForm,
    "protocols": ProtocolForm,
}
