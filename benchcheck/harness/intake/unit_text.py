"""The text of a unit type file, with where each entry and key of it stands, so that its faults lead back to a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from benchcheck.harness.model import UnitPath, UnitType
from benchcheck.harness.reading.forms import SCHEMA
from benchcheck.harness.reading.unit_forms import UnitTypeForm

Entry = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class UnitParts:
    """What a unit type file holds, as the values of its tables."""

    title: str
    connectors: Sequence[Entry]
    contacts: Sequence[Entry]
    paths: Sequence[Entry] = ()
    boot_s: float | None = None


@dataclass(slots=True)
class UnitText:
    """The text; and for each of its lines the table, the number of the entry in it (from 0), and where its keys begin."""

    text: str = ""
    spots: list[tuple[str, int, tuple[tuple[int, str], ...]]] = field(default_factory=list)

    def add(self, line: str, table: str = "", index: int = 0, keys: Sequence[tuple[int, str]] = ()) -> None:
        self.text += line + "\n"
        self.spots.append((table, index, tuple(keys)))

    def spot(self, line: int | None, column: int | None) -> tuple[str, int, str]:
        """The table, the entry and the key that stand at a place of the text."""
        if not line or line > len(self.spots):
            return "", 0, ""
        table, index, keys = self.spots[line - 1]
        before = [key for begin, key in keys if begin <= (column or 0)]
        return table, index, before[-1] if before else ""


def unit_text(parts: UnitParts) -> UnitText:
    """The file as it is read by `read_unit`: the same unit type comes back. One line an entry."""
    out = UnitText()
    out.add(f"schema = {SCHEMA}")
    out.add(f"title = {_value(parts.title)}", keys=[(1, "title")])
    if parts.boot_s is not None:
        out.add(f"boot_s = {_value(parts.boot_s)}", keys=[(1, "boot_s")])
    for table, entries in (("connectors", parts.connectors), ("contacts", parts.contacts), ("paths", parts.paths)):
        if not entries:
            out.add(f"{table} = []", table)
            continue
        out.add(f"{table} = [", table)
        for index, entry in enumerate(entries):
            line = "    {"
            keys: list[tuple[int, str]] = []
            for key, value in entry.items():
                line += " " if not keys else ", "
                keys.append((len(line) + 1, key))
                line += f"{key} = {_value(value)}"
            out.add(line + " },", table, index, keys)
        out.add("]", table, len(entries))
    return out


def _value(value: object) -> str:
    import tomli_w

    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    return tomli_w.dumps({"v": value}).removeprefix("v = ").removesuffix("\n")


def parts_of(unit: UnitType, rows: Mapping[str, Sequence[Sequence[str]]]) -> UnitParts:
    """The values of a unit type; `rows` are those of its connectors, which the type itself doesn't keep."""
    connectors = []
    for name, (family, gender) in unit.connectors.items():
        entry: dict[str, object] = {"name": name, "family": family}
        entry |= {"gender": gender.value} if gender.value != "none" else {}
        entry |= {"rows": [list(row) for row in rows[name]]} if rows.get(name) else {}
        connectors.append(entry)
    contacts = []
    for contact in unit.contacts:
        values: dict[str, object] = {
            "connector": contact.connector,
            "contact": contact.contact,
            "name": contact.name,
            "role": contact.role.value,
            "need": contact.need.value,
        }
        values |= {"feed_v": contact.feed_v} if contact.feed_v is not None else {}
        values |= {"load_a": contact.load_a} if contact.load_a else {}
        values |= {"protocol": contact.protocol} if contact.protocol else {}
        contacts.append(values)
    boot_s = unit.boot_s if unit.boot_s != UnitTypeForm.model_fields["boot_s"].default else None
    return UnitParts(unit.title, connectors, contacts, [_path(path) for path in unit.paths], boot_s)


def _path(path: UnitPath) -> Entry:
    entry: dict[str, object] = {"kind": path.kind.value, "a": path.a}
    entry |= {"b": path.b} if path.b else {}
    entry |= {"ohm": path.ohm} if path.ohm else {}
    entry |= {"enabled_by": list(path.enabled_by)} if path.enabled_by else {}
    entry |= {"efficiency": path.efficiency} if path.efficiency is not None else {}
    entry |= {"farad": path.farad} if path.farad else {}
    return entry
