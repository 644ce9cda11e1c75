"""Which columns a table can have, what the trade calls them, and what each is for: written once.

The words of headings are common practice without a source. Guessing, the mapping file, the template and the messages
come from here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.harness.reading.unit_forms import UnitConnectorForm, UnitContactForm, UnitPathForm


class Kind(StrEnum):
    """How the cells of a column are read."""

    NAME = "name"  # wire, cable, shield
    CONTACT = "contact"  # a whole contact or a half of one
    QUANTITY = "quantity"
    GAUGE = "gauge"
    WORD = "word"  # one of a few
    TEXT = "text"


@dataclass(frozen=True, slots=True)
class Column:
    """One column that a table can have.

    name      what the mapping calls it; `from.connector` and `from.contact` are the two halves of `from`
    heading   how the template heads it
    help      what stands in it
    phrases   what the trade calls it, the surest first; those behind a `|` count only where the cells bear it out
    """

    name: str
    heading: str
    kind: Kind
    help: str
    phrases: str = ""
    unit: str = ""  # the template's unit, for a quantity


END_A, END_B = "from", "to"
CONNECTOR, CONTACT = "connector", "contact"
_END = "The contact at one end: P101-4, P101-shell, P101-ring; a splice or stud by its name alone."

RUNS: tuple[Column, ...] = (
    Column("wire", "Wire", Kind.NAME, "Wire number, each once.", "wire, conductor, wire run, run, wire mark, wire label, wire tag, wire ref, wire name, lead, circuit, core"),
    Column("from", "From", Kind.CONTACT, f"{_END} Or in the two columns that follow."),
    Column("from.connector", "From connector", Kind.CONTACT, "Connector, splice or stud at the near end: P101, SP3, GND2."),
    Column("from.contact", "From contact", Kind.CONTACT, "Contact in it: 4, A, shell, ring; empty for a splice or stud."),
    Column("to", "To", Kind.CONTACT, f"{_END} Empty for a shield that floats there."),
    Column("to.connector", "To connector", Kind.CONTACT, "Connector, splice or stud at the far end; empty for a shield that floats there."),
    Column("to.contact", "To contact", Kind.CONTACT, "Contact in it."),
    Column("awg", "Gauge (AWG)", Kind.GAUGE, "Whole gauge number: 22; 00 for two noughts. Empty where it is not known.", "awg, gauge, gage, wire gauge, wire gage, wire awg, gauge awg, wire size, conductor size, awg size, size, ga"),
    Column("length_m", "Length (m)", Kind.QUANTITY, "Length in metres. Empty where it is not known.", "length, run length, wire length, cut length, conductor length, len, cable length", "m"),
    Column("role", "Role", Kind.WORD, "What the conductor is for, seen from the unit at the near end.", "role | function, purpose, signal type, signal class, use, usage, type, class, kind, wire type, signal"),
    Column("cable", "Cable", Kind.NAME, "Runs in one jacket have the same name here.", "cable, cable ref, cable name, cable mark, jacket"),
    Column("shield", "Shield", Kind.NAME, "Wire number of the shield around this core.", "shield, screen, shield wire, shield ref, screen ref"),
    Column("colour", "Colour", Kind.TEXT, "Colour of the insulation.", "colour, color, wire colour, wire color, insulation colour, insulation color, core colour, core color, col, clr"),
    Column("note", "Note", Kind.TEXT, "Anything that the next person should know.", "note, remark, comment, description, memo"),
    Column("state", "State", Kind.WORD, "planned, wired or proved; empty means wired.", "state | status, progress"),
)  # fmt: skip


def _from_form(form: type[UnitContactForm | UnitConnectorForm | UnitPathForm], key: str) -> str:
    text = form.model_fields[key].description or ""
    return f"{text[:1].upper()}{text[1:]}."


def _said(form: type[UnitContactForm | UnitConnectorForm | UnitPathForm], entry: Column) -> Column:
    return Column(entry.name, entry.heading, entry.kind, _from_form(form, entry.name), entry.phrases, entry.unit)


UNIT_CONTACTS: tuple[Column, ...] = tuple(
    _said(UnitContactForm, entry)
    for entry in (
        Column("connector", "Connector", Kind.CONTACT, "", "connector, conn, plug, unit connector, connector ref, receptacle"),
        Column("contact", "Contact", Kind.CONTACT, "", "contact, pin, terminal, cavity, position, pos, connector pin, unit contact"),
        Column("name", "Name", Kind.TEXT, "", "name, contact name, pin name, signal name, signal, label, description"),
        Column("role", "Role", Kind.WORD, "", "role | function, signal type, signal class, type, class, kind, direction"),
        Column("need", "Need", Kind.WORD, "", "need, necessity, required | use, usage, status, fit"),
        Column("feed_v", "Feed (V)", Kind.QUANTITY, "", "feed, feed volt, voltage, supply voltage, nominal voltage, supply, volt", "V"),
        Column("load_a", "Load (A)", Kind.QUANTITY, "", "load, load current, current, current draw, amp, supply current", "A"),
        Column("protocol", "Protocol", Kind.TEXT, "", "protocol, spoken, data format, standard"),
    )
)  # fmt: skip

UNIT_CONNECTORS: tuple[Column, ...] = tuple(
    _said(UnitConnectorForm, entry)
    for entry in (
        Column("name", "Connector", Kind.CONTACT, "", "connector, conn, name, ref, connector name, connector ref, plug"),
        Column("family", "Family", Kind.WORD, "", "family, connector family, connector type, type, series"),
        Column("gender", "Gender", Kind.WORD, "", "gender, contact gender, pin or socket, pin socket, sex"),
    )
)  # fmt: skip

UNIT_PATHS: tuple[Column, ...] = tuple(
    _said(UnitPathForm, entry)
    for entry in (
        Column("kind", "Kind of path", Kind.WORD, "", "kind of path, kind, path, path kind, type"),
        Column("a", "A", Kind.CONTACT, "", "a, contact a, from, input, anode, end a"),
        Column("b", "B", Kind.CONTACT, "", "b, contact b, to, output, cathode, end b"),
        Column("ohm", "Resistance (ohm)", Kind.QUANTITY, "", "ohm, resistance, value", "ohm"),
        Column("enabled_by", "Enabled by", Kind.CONTACT, "", "enabled by, enable, bridge, enabling bridge"),
        Column("efficiency", "Efficiency", Kind.QUANTITY, "", "efficiency, eta", "1"),
        Column("farad", "Capacitance (F)", Kind.QUANTITY, "", "farad, capacitance, capacity", "F"),
    )
)  # fmt: skip

TABLES: Mapping[str, tuple[Column, ...]] = {
    "runs": RUNS,
    "unit contacts": UNIT_CONTACTS,
    "unit connectors": UNIT_CONNECTORS,
    "unit paths": UNIT_PATHS,
}
# what a table can't do without; any one of a group will do
WANTED: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "runs": (("wire",), ("from", "from.connector"), ("to", "to.connector"), ("role",)),
    "unit contacts": (("contact",), ("role",)),
    "unit connectors": (("name",), ("family",)),
    "unit paths": (("kind",), ("a",)),
}


def columns_of(table: str) -> Mapping[str, Column]:
    return {column.name: column for column in TABLES[table]}
