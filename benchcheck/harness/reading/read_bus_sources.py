"""[[buses.sources]] of harness.toml: what units are told by on a bus, beside its message database or instead of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from benchcheck.harness.bus_source import BusSource
from benchcheck.harness.model import Message
from benchcheck.harness.reading.forms import BusForm, BusSourceForm
from benchcheck.harness.reading.hints import did_you_mean, shown
from benchcheck.harness.reading.read_forms import read_list
from benchcheck.harness.reading.toml_text import Path

if TYPE_CHECKING:
    from benchcheck.harness.reading.read_tables import Tables

_BASE_MOST = 0x7FF
_FIRST_BROADCAST = 0xF0  # of the middle byte of a parameter group (SAE J1939-21; from memory)


def read_bus_sources(
    tables: Tables, bus_path: Path, bus: BusForm, messages: Sequence[Message]
) -> tuple[BusSource, ...]:
    """The sources of one bus; a fault for each that can't be followed, or that is another one's."""
    found: list[BusSource] = []
    first: dict[str, tuple[str, Path]] = {}
    database = {(message.can_id, message.extended): message for message in messages}
    forms = read_list(BusSourceForm, tables.doc, (*bus_path, "sources"), bus.sources, tables.faults)
    for path, form in forms:
        _check_unit(tables, path, bus, form.unit)
        if not _check_keys(tables, path, form):
            continue
        source = _source(tables, path, form)
        if source.text in first:
            unit, other = first[source.text]
            text = f"{source.text} is there twice on bus {shown(bus.name)}, first at {tables.doc.place(other)}"
            hint = (
                "Write it once." if unit == form.unit else f"It can't tell {unit} from {form.unit}: give one another."
            )
            tables.fault(path, text, hint)
        first.setdefault(source.text, (form.unit, path))
        if source.is_one_identifier and source.can_id is not None:
            message = database.get((source.can_id, source.extended))
            if message is not None and message.sender not in ("", form.unit):
                text = f"id: {source.text} is {shown(message.name)} of {message.sender} by {bus.network}"
                tables.fault((*path, "id"), text, "Two senders of one identifier collide: correct one of them.")
        found.append(source)
    return tuple(found)


def told_by_sources(messages: Sequence[Message], sources: Sequence[BusSource]) -> tuple[Message, ...]:
    """The messages of the database with what sources of the same identifier say of them: who sends them, how often."""
    told = {(source.can_id, source.extended): source for source in sources if source.is_one_identifier}
    found = []
    for message in messages:
        source = told.get((message.can_id, message.extended))
        if source is not None:
            period_s = message.period_s if source.period_s is None else source.period_s
            message = replace(message, sender=message.sender or source.unit, period_s=period_s)
        found.append(message)
    return tuple(found)


def _check_unit(tables: Tables, path: Path, bus: BusForm, unit: str) -> None:
    before = len(tables.faults)
    tables.unit((*path, "unit"), unit)
    if len(tables.faults) == before and unit not in bus.nodes:
        text = f"unit: {shown(unit)} is no node of bus {shown(bus.name)}"
        tables.fault((*path, "unit"), text, did_you_mean(unit, bus.nodes, what="Nodes"))


def _check_keys(tables: Tables, path: Path, form: BusSourceForm) -> bool:
    """Whether the keys go together; a fault for each that does not."""
    before = len(tables.faults)
    if form.id is None and form.address is None and form.group is None:
        hint = "Give id (with mask, byte and value where they are needed), group or address."
        tables.fault(path, f"nothing says how {shown(form.unit)} is told", hint)
    if form.id is not None and (form.address is not None or form.group is not None):
        other = "address" if form.address is not None else "group"
        tables.fault((*path, other), f"{other}: id is given too", "Give one of them: both are in the identifier.")
    if form.id is None:
        for key in ("mask", "extended"):
            if getattr(form, key) is not None:
                tables.fault((*path, key), f"{key}: there is no id that it could be of", "Give id, or leave it out.")
    else:
        _check_mask(tables, path, form, form.id)
    if (form.byte is None) != (form.value is None):
        given, lacks = ("byte", "value") if form.value is None else ("value", "byte")
        tables.fault((*path, given), f"{given}: there is no {lacks}", "byte is which data byte, value what is in it.")
    group = form.group
    if group is not None and (group >> 8) & 0xFF < _FIRST_BROADCAST and group & 0xFF:
        hint = f"Its last two digits are an address there: write 0x{group & ~0xFF:05X}."
        tables.fault((*path, "group"), f"group: {group:05X} can't be, its middle byte is below F0", hint)
    return len(tables.faults) == before


def _check_mask(tables: Tables, path: Path, form: BusSourceForm, can_id: int) -> None:
    if form.extended is False and can_id > _BASE_MOST:
        text = f"id: {can_id:X} has more than 11 bits, and extended is false"
        tables.fault((*path, "id"), text, "Leave extended out, or correct the identifier.")
    mask = form.mask
    if mask is None:
        return
    if mask > _BASE_MOST and not _is_extended(form):
        text = f"mask: {mask:X} has more than the 11 bits of identifier {can_id:03X}"
        tables.fault((*path, "mask"), text, "Write extended = true where the identifier has 29 bits.")
    elif can_id & ~mask:
        text = f"id: {can_id:X} has bits that mask {mask:X} leaves out"
        tables.fault((*path, "id"), text, f"With this mask it is 0x{can_id & mask:X}.")
    elif not mask and form.byte is None:
        tables.fault((*path, "mask"), "mask: 0 takes every identifier", "Say which bits count, or give byte and value.")


def _is_extended(form: BusSourceForm) -> bool:
    return bool(form.extended) or (form.id is not None and form.id > _BASE_MOST) or form.id is None


def _source(tables: Tables, path: Path, form: BusSourceForm) -> BusSource:
    extended = _is_extended(form)
    full = 0x1FFF_FFFF if extended else _BASE_MOST
    return BusSource(
        unit=form.unit,
        can_id=form.id,
        mask=None if form.mask == full else form.mask,
        extended=extended,
        address=form.address,
        group=form.group,
        byte=form.byte,
        value=form.value or 0,
        period_s=form.period_s,
        multi_frame=form.multi_frame,
        instead=form.instead,
        place=tables.doc.place((*path, "unit")),
    )
