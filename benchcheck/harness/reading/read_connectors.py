"""The [[connectors]] tables become Connectors; units are looked up, halves must fit each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.connector.geometry import at_one_spot, rows_of
from benchcheck.harness.model import Connector, Gender
from benchcheck.harness.reading.forms import ConnectorForm
from benchcheck.harness.reading.hints import did_you_mean, shown, span
from benchcheck.harness.reading.read_unit import UnitFile, gender_fault
from benchcheck.harness.reading.toml_text import Path, TomlText
from benchcheck.words.errors import FileFault, Place

Forms = Sequence[tuple[Path, ConnectorForm]]


def read_connectors(doc: TomlText, forms: Forms, faults: list[FileFault]) -> tuple[dict[str, Connector], set[str]]:
    """Connectors by reference, and the references whose table is faulty."""
    found: dict[str, Connector] = {}
    doubtful: set[str] = set()
    for path, form in forms:
        before = len(faults)
        place = doc.place((*path, "ref"))
        if form.ref in found:
            what = f"connector {form.ref} is there twice, first at {found[form.ref].place}"
            faults.append(FileFault(place, what, "Each reference stands for one connector."))
            continue
        connector = _connector(doc, path, form, faults)
        if len(faults) > before:
            doubtful.add(form.ref)
        else:
            found[form.ref] = connector
    # a ref that is both (a second table with it was faulty) is known by its first table
    return found, doubtful - set(found)


def _connector(doc: TomlText, path: Path, form: ConnectorForm, faults: list[FileFault]) -> Connector:
    family = FAMILIES[form.family]
    if wrong := gender_fault(form.family, form.gender):
        faults.append(FileFault(doc.place((*path, "gender")), *wrong))
    faults += _layout_faults(doc, path, form)
    rows = (form.rows or rows_of(form.places)) if family.given_rows else family.rows
    # where coordinates are given, the contacts count in their order
    contacts = tuple(form.places) if family.given_rows and not form.rows else tuple(pin for row in rows for pin in row)
    no_layout = family.given_rows and not contacts
    for pin in form.contact_sizes:
        if pin not in contacts and not no_layout and not family.single:
            place = doc.key_place((*path, "contact_sizes", pin))
            what = f"contact_sizes: contact {shown(pin)} is not in {form.ref}"
            faults.append(FileFault(place, what, f"{form.ref} has {span(contacts)}."))
    for index, pin in enumerate(form.doubles):
        if pin not in contacts and not no_layout:
            place = doc.place((*path, "doubles", index))
            has = (
                f"{form.ref} has {span(contacts)}." if contacts else f"A {form.family} takes any number of conductors."
            )
            faults.append(FileFault(place, f"doubles: contact {shown(pin)} is not in {form.ref}", has))
    if form.unit is not None and form.unit_connector is None:
        hint = f'Add unit_connector, the name that {form.unit} has for its half: "J1".'
        faults.append(FileFault(doc.place((*path, "unit")), f"{form.ref}: unit without unit_connector", hint))
    if form.unit_connector is not None and form.unit is None:
        place = doc.place((*path, "unit_connector"))
        faults.append(FileFault(place, f"{form.ref}: unit_connector without unit", "Add the unit that it mates with."))
    if family.single and form.unit is not None:
        hint = "Give that end a connector, or leave the key out."
        faults.append(FileFault(doc.place((*path, "unit")), f"a {form.family} mates with no unit", hint))
    return Connector(
        ref=form.ref,
        family=form.family,
        gender=Gender(form.gender or "none"),
        contacts=contacts,
        rows=rows,
        unit=form.unit or "",
        unit_connector=form.unit_connector or "",
        zone=form.zone,
        doubles=frozenset(form.doubles),
        has_shell=family.has_shell,
        contact_size=form.contact_size or family.contact_size,
        contact_sizes=dict(form.contact_sizes),
        places=dict(form.places),
        place=doc.place((*path, "ref")),
    )


def _layout_faults(doc: TomlText, path: Path, form: ConnectorForm) -> list[FileFault]:
    """What is wrong with the rows or places that give the contacts of a connector."""
    family, faults = FAMILIES[form.family], []
    placed = family.given_rows and family.has_gender  # a terminal strip is rows only
    if family.given_rows and not form.rows and not form.places:
        hint = 'Give its contacts row by row on the mating face: rows = [["A", "B"], ["C", "D", "E"]].'
        if placed:
            hint = hint[:-1] + ", or places = { A = [0.0, 2.5], ... } in millimetres."
        needs = "rows or places" if placed else "rows"
        faults.append(FileFault(doc.place(path), f"{form.ref}: a {form.family} needs {needs}", hint))
    if form.rows and not family.given_rows:
        what = f"rows of a {form.family} are known"
        faults.append(FileFault(doc.key_place((*path, "rows")), what, "Leave the key out."))
    if form.places and not placed:
        what = f"places of a {form.family} are known"
        if family.given_rows:
            what = f"{form.family} have rows, no places"
        faults.append(FileFault(doc.key_place((*path, "places")), what, "Leave the key out."))
    elif form.places and form.rows:
        what = f"{form.ref}: rows and places are both given"
        hint = "Leave one of them out: the rows follow from the places."
        faults.append(FileFault(doc.key_place((*path, "places")), what, hint))
    for one, other in at_one_spot(form.places) if placed else ():
        x_mm, y_mm = form.places[other]
        what = f"{form.ref}: contacts {one} and {other} are at one spot, {x_mm:g}, {y_mm:g} mm"
        hint = "Look at the drawing; each contact has a spot of its own."
        faults.append(FileFault(doc.place((*path, "places", other)), what, hint))
    return faults


def check_mating(
    doc: TomlText,
    forms: Forms,
    unit_types: Mapping[str, str],
    types: Mapping[str, UnitFile],
    *,
    units_complete: bool,
    faults: list[FileFault],
) -> None:
    """Each connector that names a unit fits that unit's half.

    unit_types: unit reference -> its type's name; types: those types that could be read.
    """
    taken: dict[tuple[str, str], tuple[str, Place]] = {}
    for path, form in forms:
        if form.unit is None or form.unit_connector is None:
            continue
        place = doc.place((*path, "unit_connector"))
        if form.unit not in unit_types:
            if units_complete:
                hint = did_you_mean(form.unit, unit_types, what="Units")
                faults.append(
                    FileFault(doc.place((*path, "unit")), f"unit {shown(form.unit)} is not in harness.toml", hint)
                )
            continue
        half = (form.unit, form.unit_connector)
        if half in taken:
            other, at = taken[half]
            what = f"{form.ref} and {other} both mate with {form.unit} {form.unit_connector} ({other}: {at})"
            faults.append(FileFault(place, what, "One of them belongs to another connector of the unit."))
            continue
        taken[half] = (form.ref, place)
        unit = types.get(unit_types[form.unit])
        if unit is not None:
            faults += _fit(doc, path, form, unit)


def _fit(doc: TomlText, path: Path, form: ConnectorForm, unit: UnitFile) -> list[FileFault]:
    name = form.unit_connector or ""
    own = unit.type.connectors.get(name)
    if own is None:
        hint = did_you_mean(name, unit.type.connectors, what=f"Connectors of {unit.type.name}")
        what = f"unit type {unit.type.name} has no connector {shown(name)}"
        return [FileFault(doc.place((*path, "unit_connector")), what, hint)]
    family, gender = own
    its = f"{form.unit} {name}"
    if family != form.family:
        what = f"{form.ref} is a {form.family}, but {its} is a {family}"
        return [
            FileFault(doc.place((*path, "family")), what, f"See {unit.type.place.file}; both halves are of one family.")
        ]
    if gender is not Gender.NONE and form.gender == gender.value:
        other = "socket" if gender is Gender.PIN else "pin"
        what = f"{form.ref} has gender {form.gender}, and so has {its}"
        return [
            FileFault(doc.place((*path, "gender")), what, f'The harness half is the other one: gender = "{other}".')
        ]
    rows = unit.rows.get(name, ())
    mine = {pin for row in form.rows for pin in row} or set(form.places)
    theirs = {pin for row in rows for pin in row} or set(unit.pins.get(name, ()))
    if FAMILIES[family].given_rows and mine and (strange := sorted(theirs - mine)):
        what = f"{its} has contacts that {form.ref} lacks: {span(strange)}"
        key = "rows" if form.rows else "places"
        return [FileFault(doc.place((*path, key)), what, "Both halves have the same contacts.")]
    return []
