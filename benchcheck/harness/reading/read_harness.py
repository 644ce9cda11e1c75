"""The files of a profile become a Harness, or a list of everything that is wrong in them.

Pure: fed with names and contents, it opens nothing.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from benchcheck.harness.model import Cable, Harness, Limits, Run, Unit
from benchcheck.harness.reading.contact_book import AnyContact, ContactBook
from benchcheck.harness.reading.file_text import decode
from benchcheck.harness.reading.forms import (
    BusForm,
    CableForm,
    ConnectorForm,
    FeedForm,
    HarnessForm,
    InBandForm,
    LimitsForm,
    LinkForm,
    PartForm,
    ProtocolForm,
    SignalForm,
    UnitForm,
    is_file_name,
    is_type_name,
)
from benchcheck.harness.reading.hints import did_you_mean, printable, shown
from benchcheck.harness.reading.read_connectors import check_mating, read_connectors
from benchcheck.harness.reading.read_forms import read_form, read_list, schema_fault
from benchcheck.harness.reading.read_pins import PinTable, read_pin_table, read_pins
from benchcheck.harness.reading.read_protocols import check_protocol, read_protocols
from benchcheck.harness.reading.read_signals import read_signals
from benchcheck.harness.reading.read_tables import (
    Database,
    Tables,
    check_in_band,
    check_unique,
    read_buses,
    read_cables,
    read_closeout,
    read_feeds,
    read_in_band,
    read_links,
    read_parts,
)
from benchcheck.harness.reading.read_unit import UnitFile, read_unit
from benchcheck.harness.reading.toml_text import Path, TomlText, read_toml
from benchcheck.words.errors import FaultyFiles, FileFault, Place

HARNESS_FILE = "harness.toml"
PINS_FILE = "pins.csv"
# where the file of a unit type may be, seen from the profile's folder; the first that exists counts
UNIT_FILES = ("units/{}.toml", "../units/{}.toml")
# and, where none of these exists, what the file that comes with benchcheck is called here
SHIPPED_UNIT = "units that come with benchcheck/{}.toml"


@dataclass(frozen=True, slots=True)
class Needs:
    """Further files that harness.toml asks for."""

    unit_types: tuple[str, ...]
    networks: tuple[str, ...]


def needs(text: str) -> Needs:
    """What the text of a harness.toml asks for; nothing where it can't be read (reading it will say why)."""
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError):
        return Needs((), ())
    return Needs(
        _named(values.get("units"), "type", is_type_name),
        _named(values.get("buses"), "network", is_file_name),
    )


def _named(tables: object, key: str, fits: Callable[[str], bool]) -> tuple[str, ...]:
    if not isinstance(tables, list):
        return ()
    names = (table.get(key) for table in tables if isinstance(table, dict))
    return tuple(dict.fromkeys(name for name in names if isinstance(name, str) and fits(name)))


def read_harness(
    name: str,
    files: Mapping[str, bytes | str],
    *,
    databases: Mapping[str, Database] | None = None,
    unit_names: Iterable[str] = (),
    faults: Iterable[FileFault] = (),
    digest: str = "",
) -> Harness:
    """The harness that `files` describe: harness.toml, pins.csv, and unit types (UNIT_FILES, SHIPPED_UNIT).

    databases   what was read of each message database that harness.toml names
    unit_names  unit types that could be named, for hints
    faults      what was found wrong already (a file that can't be opened): listed with the rest

    Raises FaultyFiles with every fault of every file.
    """
    told = read_partly(name, files, databases=databases, unit_names=unit_names, faults=faults, digest=digest)
    if told.harness is None or told.faults:
        raise FaultyFiles(f"profile {name}", told.faults)
    return told.harness


@dataclass(frozen=True, slots=True)
class Partly:
    """What could be read of a profile, for the paper review alone.

    harness  what is left when only rows of the pin table are at fault: each of them with what it holds, a run whose
             end is no contact with the other one only; None where anything else is at fault
    faults   every fault of every file
    """

    harness: Harness | None
    faults: tuple[FileFault, ...]


def read_partly(
    name: str,
    files: Mapping[str, bytes | str],
    *,
    databases: Mapping[str, Database] | None = None,
    unit_names: Iterable[str] = (),
    faults: Iterable[FileFault] = (),
    digest: str = "",
) -> Partly:
    """`read_harness` for a table that isn't finished: never raises, and gives what can be reviewed all the same."""
    found = list(faults)
    notes: list[str] = []
    texts: dict[str, str] = {}
    for file, content in files.items():
        text = _text(file, content, found, notes)
        if text is not None:
            texts[file] = text
    said = {fault.place.file for fault in found}
    for file in (HARNESS_FILE, PINS_FILE):
        if file not in texts and file not in said:
            found.append(FileFault(Place(file), "is missing", f"A profile holds {HARNESS_FILE} and {PINS_FILE}."))
    doc = _harness_toml(texts, found)
    if doc is None:
        # without harness.toml no contact is known; the pin table's form and the unit files can still be judged
        if PINS_FILE in texts:
            found += read_pins(PINS_FILE, texts[PINS_FILE], AnyContact())[1]
        for file, text in texts.items():
            if file not in (HARNESS_FILE, PINS_FILE):
                found += read_unit(file, "", text)[1]
        return Partly(None, tuple(_in_order(found)))
    harness = _Reading(name, doc, texts, dict(databases or {}), tuple(unit_names), found, notes).harness(digest)
    return Partly(harness, tuple(_in_order(found)))


def _text(file: str, content: bytes | str, faults: list[FileFault], notes: list[str]) -> str | None:
    data = content.encode("utf-8", "surrogatepass") if isinstance(content, str) else content
    text, wrong, said = decode(file, data, lenient=file.endswith(".csv"))
    faults += wrong
    notes += said
    return text


def _harness_toml(texts: Mapping[str, str], faults: list[FileFault]) -> TomlText | None:
    if HARNESS_FILE not in texts:
        return None
    doc, wrong = read_toml(HARNESS_FILE, texts[HARNESS_FILE])
    faults += wrong
    if doc is not None and (fault := schema_fault(doc)):
        faults.append(fault)
        return None
    return doc


def _in_order(faults: Sequence[FileFault]) -> list[FileFault]:
    """File by file in the order of first mention, by line and column, each once; fit for a terminal, whatever
    the files hold."""
    faults = [
        fault
        if fault.text.isprintable() and fault.hint.isprintable()
        else replace(fault, text=printable(fault.text), hint=printable(fault.hint))
        for fault in faults
    ]
    files = list(dict.fromkeys(fault.place.file for fault in faults))
    return sorted(
        dict.fromkeys(faults),
        key=lambda fault: (files.index(fault.place.file), fault.place.line or 0, fault.place.column or 0),
    )


@dataclass(slots=True)
class _Reading:
    """One reading of a profile whose harness.toml is TOML."""

    name: str
    doc: TomlText
    texts: Mapping[str, str]
    databases: Mapping[str, Database]
    unit_names: Sequence[str]
    faults: list[FileFault]
    notes: list[str]

    def harness(self, digest: str) -> Harness | None:
        doc, faults = self.doc, self.faults
        values: Mapping[str, Any] = doc.values
        form = read_form(HarnessForm, doc, (), dict(values), faults)
        connector_forms = read_list(ConnectorForm, doc, ("connectors",), values.get("connectors"), faults)
        doubtful = _refs_without_form(values.get("connectors"), [entry.ref for _, entry in connector_forms])
        unit_forms = read_list(UnitForm, doc, ("units",), values.get("units"), faults)
        units_complete = not _refs_without_form(values.get("units"), [entry.ref for _, entry in unit_forms])
        check_unique(doc, "unit", [((*path, "ref"), entry.ref) for path, entry in unit_forms], faults)
        check_unique(doc, "node", [((*path, "node"), entry.node or entry.ref) for path, entry in unit_forms], faults)
        types = self._unit_types(unit_forms)
        connectors, faulty = read_connectors(doc, connector_forms, faults)
        type_names = {entry.ref: entry.type for _, entry in unit_forms}
        check_mating(doc, connector_forms, type_names, types, units_complete=units_complete, faults=faults)
        readable = isinstance(values.get("connectors"), list)
        book = ContactBook(connectors, doubtful | faulty) if readable else AnyContact()
        unit_refs = tuple(type_names)
        tables = Tables(doc, book, unit_refs, units_complete, faults)
        if form is not None:
            tables.contact(("chassis",), form.chassis)
        limits = read_form(LimitsForm, doc, ("limits",), values.get("limits", {}), faults)
        feeds = read_feeds(tables, read_list(FeedForm, doc, ("feeds",), values.get("feeds"), faults))
        parts = read_parts(tables, read_list(PartForm, doc, ("parts",), values.get("parts"), faults))
        nodes = {entry.node or entry.ref: entry.ref for _, entry in unit_forms}
        bus_forms = read_list(BusForm, doc, ("buses",), values.get("buses"), faults)
        buses = read_buses(tables, bus_forms, self.databases, nodes)
        signal_forms = read_list(SignalForm, doc, ("signals",), values.get("signals"), faults)
        signals = read_signals(tables, signal_forms, buses, {entry.name: entry for _, entry in bus_forms})
        protocol_forms = read_list(ProtocolForm, doc, ("protocols",), values.get("protocols"), faults)
        protocols = read_protocols(tables, protocol_forms)
        link_forms = read_list(LinkForm, doc, ("links",), values.get("links"), faults)
        for path, link in link_forms:
            check_protocol(tables, path, link, [entry.name for _, entry in protocol_forms])
        links = read_links(tables, link_forms, protocols)
        cables = read_cables(tables, read_list(CableForm, doc, ("cables",), values.get("cables"), faults))
        in_band = read_in_band(tables, read_list(InBandForm, doc, ("in_band",), values.get("in_band"), faults))
        closeout = read_closeout(tables, values.get("closeout", {}))
        sound = not faults
        pins = (
            read_pin_table(PINS_FILE, self.texts[PINS_FILE], book) if PINS_FILE in self.texts else PinTable((), (), [])
        )
        runs = pins.partial if pins.faults else pins.runs
        faults += pins.faults
        sound = sound and (pins.has_header or not pins.faults)
        _check_cables(doc, cables, runs, faults)
        if not pins.faults:
            check_in_band(in_band, runs, faults)
        for bus_database in self.databases.values():
            self.notes += bus_database.notes
        if not sound or len(faults) > len(pins.faults) or form is None or limits is None:
            return None
        mates = {(c.unit, c.unit_connector): c.ref for c in connectors.values() if c.unit}
        units = {
            entry.ref: Unit(
                ref=entry.ref,
                type=types[entry.type].type,
                title=entry.title or types[entry.type].type.title,
                connectors={
                    own: mates[entry.ref, own] for own in types[entry.type].type.connectors if (entry.ref, own) in mates
                },
                node=entry.node or entry.ref,
                place=doc.place((*path, "ref")),
            )
            for path, entry in unit_forms
        }
        return Harness(
            name=self.name,
            title=form.title,
            ambient_c=form.ambient_c,
            chassis=form.chassis,
            connectors=connectors,
            runs=runs,
            parts=parts,
            units=units,
            feeds=feeds,
            buses=buses,
            links=links,
            limits=Limits(**limits.model_dump()),
            closeout=closeout,
            cables=cables,
            in_band=in_band,
            signals=signals,
            protocols=protocols,
            insulation_c=form.insulation_c,
            digest=digest,
            notes=tuple(self.notes),
        )

    def _unit_types(self, forms: Sequence[tuple[Path, UnitForm]]) -> dict[str, UnitFile]:
        types: dict[str, UnitFile] = {}
        read: set[str] = set()
        said = {fault.place.file for fault in self.faults}
        for path, form in forms:
            candidates = [pattern.format(form.type) for pattern in (*UNIT_FILES, SHIPPED_UNIT)]
            file = next((file for file in candidates if file in self.texts), None)
            if file is None:
                if not said.intersection(candidates):
                    what = f"unit type '{form.type}' has no file: {' nor '.join(candidates[:-1])}"
                    hint = did_you_mean(form.type, self.unit_names, what="Unit types", most=30)
                    self.faults.append(FileFault(self.doc.place((*path, "type")), what, hint or "Write that file."))
                continue
            if file in read:
                continue
            read.add(file)
            if file == candidates[-1]:
                self.notes.append(f"unit type {form.type}: taken from those that come with benchcheck")
            unit, wrong = read_unit(file, form.type, self.texts[file])
            self.faults += wrong
            if unit is not None:
                types[form.type] = unit
        return types


def _check_cables(doc: TomlText, cables: Mapping[str, Cable], runs: Sequence[Run], faults: list[FileFault]) -> None:
    """Each cable that is described has a run in it; where the pin table is faulty, nothing is said."""
    if any(fault.place.file == PINS_FILE for fault in faults):
        return
    named = {run.cable for run in runs}
    for cable in cables.values():
        if cable.name not in named:
            hint = did_you_mean(cable.name, named - {""}, what="Cables")
            faults.append(FileFault(cable.place, f"cable {shown(cable.name)} is in no row of {PINS_FILE}", hint))


def _refs_without_form(tables: object, right: Sequence[str]) -> set[str]:
    """References whose table is faulty, and a mark where a faulty table has none."""
    if not isinstance(tables, list):
        return set() if tables is None else {""}
    refs = [table.get("ref") if isinstance(table, dict) else None for table in tables]
    return {ref if isinstance(ref, str) else "" for ref in refs if ref not in right}
