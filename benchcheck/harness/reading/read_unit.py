"""A unit type file becomes a UnitType, with every fault at its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.model import Gender, Need, PathKind, Role, UnitContact, UnitPath, UnitType
from benchcheck.harness.reading.hints import did_you_mean, shown, span
from benchcheck.harness.reading.read_forms import read_form, read_list, schema_fault
from benchcheck.harness.reading.toml_text import Path, TomlText, read_toml
from benchcheck.harness.reading.unit_forms import UnitConnectorForm, UnitContactForm, UnitPathForm, UnitTypeForm
from benchcheck.words.errors import FileFault, Place

_TWO_ENDED = frozenset(PathKind) - {PathKind.CASE_GROUND}
# a terminator or an input without resistance would be a short
_RESISTIVE = frozenset({PathKind.TERMINATOR, PathKind.INPUT})


@dataclass(frozen=True, slots=True)
class UnitFile:
    """A unit type, and what only reading needs: the contacts of each connector that its file knows of."""

    type: UnitType
    pins: dict[str, tuple[str, ...]]
    rows: dict[str, tuple[tuple[str, ...], ...]]


def read_unit(file: str, name: str, text: str) -> tuple[UnitFile | None, list[FileFault]]:
    """The unit type in `text`; None where the file has a fault."""
    doc, faults = read_toml(file, text)
    if doc is None:
        return None, faults
    if fault := schema_fault(doc):
        return None, [fault]
    form = read_form(UnitTypeForm, doc, (), dict(doc.values), faults)
    connectors = read_list(UnitConnectorForm, doc, ("connectors",), doc.values.get("connectors"), faults)
    contacts = read_list(UnitContactForm, doc, ("contacts",), doc.values.get("contacts"), faults)
    paths = read_list(UnitPathForm, doc, ("paths",), doc.values.get("paths"), faults)
    all_connectors_right = not faults
    _check_connectors(doc, connectors, faults)
    pins = _pins(connectors, contacts)
    _check_contacts(doc, contacts, pins, faults, complete=all_connectors_right)
    _check_paths(doc, paths, pins, faults, complete=all_connectors_right)
    if faults or form is None:
        return None, faults
    made = UnitType(
        name=name,
        title=form.title,
        connectors={entry.name: (entry.family, Gender(entry.gender or "none")) for _, entry in connectors},
        contacts=tuple(
            UnitContact(
                connector=entry.connector,
                contact=entry.contact,
                name=entry.name,
                role=Role(entry.role),
                need=Need(entry.need),
                feed_v=entry.feed_v,
                load_a=entry.load_a,
                protocol=entry.protocol,
            )
            for _, entry in contacts
        ),
        paths=tuple(
            UnitPath(
                kind=PathKind(entry.kind),
                a=entry.a,
                b=entry.b or "",
                ohm=entry.ohm,
                enabled_by=entry.enabled_by,
                efficiency=entry.efficiency,
                farad=entry.farad,
            )
            for _, entry in paths
        ),
        boot_s=form.boot_s,
        place=Place(file, 1, 1),
    )
    return UnitFile(made, pins, {entry.name: entry.rows for _, entry in connectors}), []


def _pins(
    connectors: Sequence[tuple[Path, UnitConnectorForm]], contacts: Sequence[tuple[Path, UnitContactForm]]
) -> dict[str, tuple[str, ...]]:
    """Contacts of each connector: the family's, the given rows', else those that are described."""
    pins: dict[str, tuple[str, ...]] = {}
    for _, entry in connectors:
        rows = FAMILIES[entry.family].rows or entry.rows
        if rows:
            pins[entry.name] = tuple(pin for row in rows for pin in row)
        else:
            pins[entry.name] = tuple(dict.fromkeys(c.contact for _, c in contacts if c.connector == entry.name))
    return pins


def gender_fault(family: str, gender: str | None) -> tuple[str, str] | None:
    """What is wrong with a gender for this family."""
    has_gender = FAMILIES[family].has_gender
    if has_gender and gender in (None, "none"):
        return f"gender of a {family} is missing", 'Write gender = "pin" or gender = "socket".'
    if not has_gender and gender not in (None, "none"):
        return f"a {family} has no gender", "Leave the key out."
    return None


def _check_connectors(
    doc: TomlText, connectors: Sequence[tuple[Path, UnitConnectorForm]], faults: list[FileFault]
) -> None:
    seen: dict[str, Place] = {}
    for path, entry in connectors:
        place = doc.place((*path, "name"))
        if entry.name in seen:
            faults.append(
                FileFault(place, f"connector {entry.name} is there twice, first at {seen[entry.name]}", "Rename one.")
            )
        seen.setdefault(entry.name, place)
        if FAMILIES[entry.family].single:
            faults.append(FileFault(doc.place((*path, "family")), f"a unit has no {entry.family}", "Use terminals."))
        if wrong := gender_fault(entry.family, entry.gender):
            faults.append(FileFault(doc.place((*path, "gender")), *wrong))
        if entry.rows and not FAMILIES[entry.family].given_rows:
            what = f"rows of a {entry.family} are known"
            faults.append(FileFault(doc.key_place((*path, "rows")), what, "Leave the key out."))


def _check_contacts(
    doc: TomlText,
    contacts: Sequence[tuple[Path, UnitContactForm]],
    pins: dict[str, tuple[str, ...]],
    faults: list[FileFault],
    *,
    complete: bool,
) -> None:
    seen: dict[tuple[str, str], Place] = {}
    for path, entry in contacts:
        if entry.connector not in pins:
            if complete:
                hint = did_you_mean(entry.connector, pins, what="Its connectors")
                what = f"connector {shown(entry.connector)} is not among the unit's connectors"
                faults.append(FileFault(doc.place((*path, "connector")), what, hint))
            continue
        place = doc.place((*path, "contact"))
        if entry.contact not in pins[entry.connector]:
            what = f"contact {shown(entry.contact)} is not in {entry.connector}"
            faults.append(FileFault(place, what, f"{entry.connector} has {span(pins[entry.connector])}."))
        key = (entry.connector, entry.contact)
        if key in seen:
            what = f"{entry.connector}-{entry.contact} is described twice, first at {seen[key]}"
            faults.append(FileFault(place, what, "Keep one of them."))
        seen.setdefault(key, place)


def _check_paths(
    doc: TomlText,
    paths: Sequence[tuple[Path, UnitPathForm]],
    pins: dict[str, tuple[str, ...]],
    faults: list[FileFault],
    *,
    complete: bool,
) -> None:
    for path, entry in paths:
        ends = [("a", entry.a), *([("b", entry.b)] if entry.b else [])]
        enabling = [(("enabled_by", index), name) for index, name in enumerate(entry.enabled_by or ())]
        for where, contact in (*(((key,), name) for key, name in ends), *enabling):
            if wrong := _wrong_end(contact, pins, complete=complete):
                faults.append(FileFault(doc.place((*path, *where)), *wrong))
        kind = PathKind(entry.kind)
        if kind in _TWO_ENDED and not entry.b:
            faults.append(
                FileFault(doc.place(path), f"{kind.value} path has no b", "Name the contact at the other end.")
            )
        if kind in _RESISTIVE and entry.ohm == 0:
            faults.append(FileFault(doc.place(path), f"{kind.value} path has no ohm", "Give its resistance in ohms."))
        if entry.efficiency is not None and kind is not PathKind.CONVERTER:
            place = doc.key_place((*path, "efficiency"))
            faults.append(FileFault(place, f"{kind.value} path has an efficiency", "Only a converter has one."))
        if entry.farad and kind is not PathKind.INPUT:
            place = doc.key_place((*path, "farad"))
            faults.append(FileFault(place, f"{kind.value} path has a farad", "Only an input has a capacitance."))
        if entry.a == entry.b:
            faults.append(
                FileFault(doc.place((*path, "b")), f"path from {entry.a} to itself", "Name the other contact.")
            )


def _wrong_end(contact: str, pins: dict[str, tuple[str, ...]], *, complete: bool) -> tuple[str, str] | None:
    name, _, pin = contact.partition("-")
    if name not in pins:
        if not complete:
            return None
        return f"connector {shown(name)} is not among the unit's connectors", did_you_mean(
            name, pins, what="Its connectors"
        )
    if pin not in pins[name] and pin != "shell":
        return f"contact {shown(pin)} is not in {name}", f"{name} has {span(pins[name])}."
    return None
