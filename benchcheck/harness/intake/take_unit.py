"""The tables of a unit under any headings become a unit type file, or a list of everything that is wrong in them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from benchcheck.harness.intake.columns import Column, Kind, columns_of
from benchcheck.harness.intake.find_header import Header
from benchcheck.harness.intake.mapping import TableMapping
from benchcheck.harness.intake.read_cells import CellReader, Ways
from benchcheck.harness.intake.sheet import Row, Sheet
from benchcheck.harness.intake.spelled import Speller
from benchcheck.harness.intake.taken import Account, TakenRow
from benchcheck.harness.intake.unit_text import Entry, UnitParts, UnitText, parts_of, unit_text
from benchcheck.harness.reading.hints import shown
from benchcheck.harness.reading.read_unit import UnitFile, read_unit
from benchcheck.words.errors import FileFault, Place

_IDENTITY = {
    "unit contacts": ("connector", "contact", "name"),
    "unit connectors": ("name", "family"),
    "unit paths": ("kind", "a", "b"),
}
_GENDERS = {
    **dict.fromkeys(("pin", "pins", "male", "m", "p"), "pin"),
    **dict.fromkeys(("socket", "sockets", "female", "f", "s"), "socket"),
    **dict.fromkeys(("none", "-", ""), ""),
}
_TABLE_OF = {"contacts": "unit contacts", "connectors": "unit connectors", "paths": "unit paths"}


@dataclass(frozen=True, slots=True)
class MappedTable:
    """A sheet with its headings and its mapping."""

    sheet: Sheet
    header: Header
    mapping: TableMapping


@dataclass(slots=True)
class UnitTaken:
    """What was made of the tables of a unit: an account for each, and the text of the file."""

    accounts: dict[str, Account]
    text: UnitText = field(default_factory=UnitText)
    faults: list[FileFault] = field(default_factory=list)  # those of no row
    notes: list[str] = field(default_factory=list)

    @property
    def all_faults(self) -> list[FileFault]:
        return [*self.faults, *(fault for account in self.accounts.values() for fault in account.faults)]


def take_unit(
    file: str,
    name: str,
    tables: Mapping[str, MappedTable],
    ways: Ways,
    *,
    title: str | None = None,
    connectors: Mapping[str, str] | None = None,
    old: UnitFile | None = None,
) -> UnitTaken:
    """The unit type `name` from its tables.

    file        name of the file that is made, for messages
    tables      kind of table -> the table; `unit contacts` at least
    connectors  what was said of its connectors: J1 -> `dsub25/pin`
    old         the unit type as it was: what no table says is taken over from it
    """
    taken = UnitTaken({kind: _account(table) for kind, table in tables.items()})
    for kind, table in tables.items():
        _take(taken.accounts[kind], table, ways)
    if taken.all_faults:
        return taken
    rows = {kind: [row.texts for row in account.rows] for kind, account in taken.accounts.items()}
    before = parts_of(old.type, old.rows) if old else None
    said = _said_connectors(connectors or {}, taken)
    only = next(iter(said)) if len(said) == 1 else ""
    contacts = [_contact(texts, only) for texts in rows["unit contacts"]]
    paths: Sequence[Entry] = [_path(texts, taken, row) for texts, row in _with_rows(taken, "unit paths")]
    if not paths and before and before.paths:
        paths = before.paths
        taken.notes.append(f"the {len(paths)} paths of the old file are kept: the table has none")
    named = title or (before.title if before else "") or name.replace("_", " ").capitalize()
    if not title and not before:
        taken.notes.append(f"the unit is called {shown(named)}; another name: --title")
    parts = UnitParts(
        named,
        _connectors(contacts, rows.get("unit connectors", []), said, before, taken),
        contacts,
        paths,
        before.boot_s if before else None,
    )
    if not taken.all_faults:
        taken.text = unit_text(parts)
        _check(file, name, taken)
    return taken


def _account(table: MappedTable) -> Account:
    return Account(table.sheet, tuple(column.heading for column in table.mapping.columns))


def _take(account: Account, table: MappedTable, ways: Ways) -> None:
    kind = table.mapping.kind
    reader = CellReader(table.mapping, account, ways, lambda _target, _text, _row: False)
    for row in reader.rows(table.header.row, _IDENTITY[kind]):
        texts = {column.name: _text(reader, row, column) for column in columns_of(kind).values()}
        columns = {
            column.name: index
            for column in columns_of(kind).values()
            if (index := reader.index(column.name)) is not None
        }
        if kind == "unit contacts":
            _check_connector(reader, row, texts, columns)
        if row.number not in account.refused:
            account.rows.append(TakenRow(row, texts, columns))


def _text(reader: CellReader, row: Row, column: Column) -> str:
    text = reader.text(row, column)
    if column.kind is Kind.CONTACT and column.name in ("a", "b") and text:
        return Speller(None).whole(text)
    if column.name == "gender":
        return _GENDERS.get(text.casefold(), text)
    return text.casefold() if column.name in ("family", "kind") else text


def _check_connector(reader: CellReader, row: Row, texts: dict[str, str], columns: Mapping[str, int]) -> None:
    """Splits `J1-4`; an empty connector beside a contact is a fault, unless there is no such column at all."""
    connector, dash, contact = texts["contact"].partition("-")
    if dash and texts["connector"] in ("", connector):
        texts["connector"], texts["contact"] = connector, contact
    if texts["connector"]:
        reader.remember(row, "connector", texts["connector"])
    elif "connector" in columns:
        above = reader.above(row, "connector")
        hint = "Write the connector into every row."
        hint += f" If {shown(above)} stands for this row too, import with --fill-down." if above else ""
        reader.account.refuse(row.number, columns["connector"], "is empty beside a contact", hint)


def _said_connectors(said: Mapping[str, str], taken: UnitTaken) -> dict[str, Entry]:
    found: dict[str, Entry] = {}
    for name, text in said.items():
        family, _, gender = text.partition("/")
        found[name] = _connector(name, family.strip(), _GENDERS.get(gender.strip().casefold(), gender.strip()))
    return found


def _connector(name: str, family: str, gender: str) -> Entry:
    return {"name": name, "family": family} | ({"gender": gender} if gender else {})


def _connectors(
    contacts: Sequence[Entry],
    rows: Sequence[Mapping[str, str]],
    said: Mapping[str, Entry],
    before: UnitParts | None,
    taken: UnitTaken,
) -> list[Entry]:
    """The connectors: from their sheet, the command line, the old file; each one that a contact names must be there."""
    found: dict[str, Entry] = {str(entry["name"]): entry for entry in (before.connectors if before else ())}
    listed = [_connector(texts["name"], texts["family"], texts["gender"]) for texts in rows]
    if listed:
        found = {}
    for entry in (*listed, *said.values()):
        found[str(entry["name"])] = entry
    names = list(dict.fromkeys(str(entry["connector"]) for entry in contacts))
    for name in names:
        if name not in found:
            account = taken.accounts["unit contacts"]
            row = next((row.row.number for row in account.rows if row.texts["connector"] == name), None)
            what = f"nothing says what kind of connector {shown(name)} is" if name else "no column names the connector"
            hint = f"--connector {name or 'J1'}=dsub25/pin: family and gender of the unit's half; or a sheet of connectors."
            taken.faults.append(FileFault(Place(account.sheet.file, row), what, hint))
    used = set(names)
    return [entry for name, entry in found.items() if name in used or listed]


def _contact(texts: Mapping[str, str], only: str) -> Entry:
    entry: dict[str, object] = {
        "connector": texts["connector"] or only,
        "contact": texts["contact"],
        "name": texts["name"],
    }
    entry["role"] = texts["role"]
    entry |= {"need": texts["need"]} if texts["need"] else {}
    entry |= {key: float(texts[key]) for key in ("feed_v", "load_a") if texts[key]}
    entry |= {"protocol": texts["protocol"]} if texts["protocol"] else {}
    return entry


def _path(texts: Mapping[str, str], taken: UnitTaken, row: TakenRow) -> Entry:
    entry: dict[str, object] = {"kind": texts["kind"].replace(" ", "_").replace("-", "_"), "a": texts["a"]}
    entry |= {"b": texts["b"]} if texts["b"] else {}
    entry |= {key: float(texts[key]) for key in ("ohm", "farad", "efficiency") if texts[key]}
    if texts["enabled_by"]:
        names = [name for name in re.split(r"\s*[,;&+]\s*|\s+(?:and\s+)?", texts["enabled_by"]) if name]
        if len(names) != 2:
            hint = "The two contacts whose bridge enables the path: J1-8, J1-9."
            taken.accounts["unit paths"].refuse(
                row.row.number,
                row.columns.get("enabled_by"),
                f"{shown(texts['enabled_by'])} names {len(names)}, not two contacts",
                hint,
            )
        entry["enabled_by"] = names
    return entry


def _with_rows(taken: UnitTaken, kind: str) -> list[tuple[Mapping[str, str], TakenRow]]:
    account = taken.accounts.get(kind)
    return [(row.texts, row) for row in account.rows] if account else []


def _check(file: str, name: str, taken: UnitTaken) -> None:
    """What the unit type's own reader finds wrong, said at the cells of the tables."""
    _, faults = read_unit(file, name, taken.text.text)
    for fault in faults:
        table, index, key = taken.text.spot(fault.place.line, fault.place.column)
        account = taken.accounts.get(_TABLE_OF.get(table, ""))
        if account is None or index >= len(account.rows):
            taken.faults.append(fault)
            continue
        row = account.rows[index]
        account.refuse(row.row.number, row.columns.get(key), _without_line(fault.text, taken, account), fault.hint)


def _without_line(text: str, taken: UnitTaken, account: Account) -> str:
    """`first at FILE:40:1` names a line of the file that isn't there yet: the row of the table instead."""
    found = re.search(r"first at \S+?:(\d+):(\d+)", text)
    if found is None:
        return text
    _, index, _ = taken.text.spot(int(found[1]), int(found[2]))
    row = account.rows[index].row.number if index < len(account.rows) else 0
    return text.replace(found[0], f"first in row {row}")
