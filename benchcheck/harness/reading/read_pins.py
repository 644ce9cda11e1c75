"""The pin table: one row a conductor, every fault with line, column and hint."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.model import Role, Run, RunState
from benchcheck.harness.reading.contact_book import ContactBook
from benchcheck.harness.reading.csv_text import Row, read_table
from benchcheck.harness.reading.hints import Guesses, did_you_mean, shown, unseen
from benchcheck.harness.reading.read_forms import number_hint
from benchcheck.harness.wire import THICKEST_AWG, THINNEST_AWG, awg_from_text
from benchcheck.words.contact import RING, SHELL, pin_of, ref_of
from benchcheck.words.errors import FileFault, Place

REQUIRED = ("wire", "from", "to", "awg", "length_m", "role")
OPTIONAL = ("cable", "shield", "colour", "note", "state")
LONGEST_RUN_M = 1000.0

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_./+-]{0,39}\Z")
_FLOAT = re.compile(r"[0-9]+(?:\.[0-9]*)?\Z|\.[0-9]+\Z")
_ROLES = tuple(role.value for role in Role)
_STATES = tuple(state.value for state in RunState)
# the role of a run as the unit at its other end sees it
SEEN_FROM_TO = {Role.RS232_TX: Role.RS232_RX, Role.RS232_RX: Role.RS232_TX}


@dataclass(slots=True)
class _Reader:
    file: str
    book: ContactBook
    faults: list[FileFault] = field(default_factory=list)

    def fault(
        self, row: Row, column: str, text: str, hint: str, *, code: str = "", names: tuple[str, ...] = ()
    ) -> None:
        """`code` and `names` where the row can be read all the same: the rule of the paper review that it breaks."""
        self.faults.append(FileFault(self.place(row, column), text, hint, code, names))

    def place(self, row: Row, column: str) -> Place:
        return Place(self.file, row.line, row.columns.get(column, 1))


@dataclass(frozen=True, slots=True)
class PinTable:
    """A pin table as it was read.

    runs        the runs of the rows without a fault in themselves
    partial     those, and what is left of the other rows: for the paper review of a table that isn't finished
    has_header  whether the columns are known, so that the rows say something
    """

    runs: tuple[Run, ...]
    partial: tuple[Run, ...]
    faults: list[FileFault]
    has_header: bool = False


def read_pins(file: str, text: str, book: ContactBook) -> tuple[tuple[Run, ...], list[FileFault]]:
    """Runs of the pin table `text`, and all its faults. Rows with a fault are left out of the runs."""
    table = read_pin_table(file, text, book)
    return table.runs, table.faults


def read_pin_table(file: str, text: str, book: ContactBook) -> PinTable:
    """The pin table `text` with all its faults, and what can be read in spite of them."""
    rows, faults = read_table(file, text, REQUIRED, OPTIONAL)
    reader = _Reader(file, book, faults)
    runs: list[tuple[Row, Run]] = []
    partial: list[tuple[Row, Run]] = []
    for row in rows:
        before = len(faults)
        run = _run(reader, row)
        if run is not None:
            runs.append((row, run))
        rest = run if len(faults) == before else _rest(reader, row)
        if rest is not None:
            partial.append((row, rest))
    copies = _check_wires(reader, rows)
    _check_shields(reader, rows)
    _check_doubles(reader, [(row, run) for row, run in runs if row.line not in copies])
    faults.sort(key=lambda fault: (fault.place.line or 0, fault.place.column or 0))
    return PinTable(
        runs=tuple(run for _, run in runs),
        partial=tuple(run for row, run in partial if row.line not in copies),
        faults=faults,
        has_header=bool(rows) and all(column in rows[0].texts for column in REQUIRED),
    )


def _rest(reader: _Reader, row: Row) -> Run | None:
    """What is left of a row with a fault: the ends that exist, and a role; None without any end."""
    texts = row.texts
    role = Role(found) if (found := texts.get("role", "").casefold()) in _ROLES else Role.SIGNAL
    a, b = (
        end if end and reader.book.wrong(end) is None else "" for end in (texts.get("from", ""), texts.get("to", ""))
    )
    if not a:
        a, b, role = b, "", SEEN_FROM_TO.get(role, role)
    if not a or not _NAME.match(texts.get("wire", "")):
        return None
    awg = awg_from_text(texts.get("awg", ""))
    length = texts.get("length_m", "")
    return Run(
        wire=texts["wire"],
        a=a,
        b="" if b == a else b,
        role=role,
        awg=awg if awg is not None and THICKEST_AWG <= awg <= THINNEST_AWG else None,
        length_m=float(length) if _FLOAT.match(length) and float(length) <= LONGEST_RUN_M else None,
        cable=cable if _NAME.match(cable := texts.get("cable", "")) else "",
        shield=shield if _NAME.match(shield := texts.get("shield", "")) else "",
        place=reader.place(row, "wire"),
    )


def _run(reader: _Reader, row: Row) -> Run | None:
    before = len(reader.faults)
    for column, value in row.texts.items():
        if bad := unseen(value):
            reader.fault(
                row, column, f"{column}: holds the unseen character U+{ord(bad):04X}", "Type the text again without it."
            )
    if len(reader.faults) > before:
        return None
    role = _choice(reader, row, "role", _ROLES)
    wire = _name(reader, row, "wire")
    cable, shield = _name(reader, row, "cable", empty=True), _name(reader, row, "shield", empty=True)
    a, b = row.texts.get("from", ""), row.texts.get("to", "")
    _check_ends(reader, row, a, b, role)
    awg = _awg(reader, row)
    length_m = _length(reader, row)
    state = _choice(reader, row, "state", _STATES, default=RunState.WIRED.value)
    if len(reader.faults) > before or role is None or state is None:
        return None
    return Run(
        wire=wire,
        a=a,
        b=b,
        role=Role(role),
        awg=awg,
        length_m=length_m,
        cable=cable,
        shield=shield,
        colour=row.texts.get("colour", ""),
        note=row.texts.get("note", ""),
        state=RunState(state),
        place=reader.place(row, "wire"),
    )


def _choice(reader: _Reader, row: Row, column: str, known: Sequence[str], default: str | None = None) -> str | None:
    written = row.texts.get(column, "")
    if written.casefold() in known:
        return written.casefold()
    if not written and (default is not None or column not in row.texts):
        return default
    what = f"{column}: unknown value {shown(written)}" if written else f"{column} is empty"
    tried = written.casefold().replace("-", "_").replace(" ", "_")
    reader.fault(row, column, what, did_you_mean(tried, known, what="One of"))
    return None


def _name(reader: _Reader, row: Row, column: str, *, empty: bool = False) -> str:
    written = row.texts.get(column, "")
    if _NAME.match(written) or (not written and (empty or column not in row.texts)):
        return written
    if written:
        reader.fault(
            row, column, f"{column}: {shown(written)} can't be a name", "Letters, digits and _ . / + -, at most 40."
        )
    else:
        reader.fault(row, column, f"{column} is empty", "Each conductor has a wire number of its own.")
    return ""


def _check_ends(reader: _Reader, row: Row, a: str, b: str, role: str | None) -> None:
    wire = row.texts.get("wire", "")
    # a row without any end says nothing, but a shield's, which says that it floats at both
    one_end = "run_with_one_end" if a or b else "shield_without_drain" if role == Role.SHIELD else ""
    if not a and "from" in row.texts:
        hint = "A shield that floats at one end has its name in `from`, its `to` is empty." if b else ""
        hint = hint or "Name the contact where it begins."
        reader.fault(row, "from", "run with no `from`", hint, code=one_end, names=(wire,))
    if not b and "to" in row.texts and role not in (None, Role.SHIELD):
        hint = "Only a run of role shield may float at one end."
        reader.fault(row, "to", "run with no `to`", hint, code=one_end, names=(wire,))
    for column, contact in (("from", a), ("to", b)):
        if contact and (wrong := reader.book.wrong(contact)):
            reader.fault(row, column, f"{column}: {wrong[0]}", wrong[1], code="contact_unknown", names=(contact, wire))
    if a and a == b:
        hint = "Name the contact at the other end."
        reader.fault(row, "to", f"run from {shown(a)} to itself", hint, code="run_to_itself", names=(wire, a))
    elif role == Role.BRIDGE and a and b and ref_of(a) != ref_of(b) and not any(map(reader.book.wrong, (a, b))):
        hint = "A bridge joins two contacts of one connector. Give this run the role of what it carries."
        what = f"bridge from {shown(ref_of(a))} to {shown(ref_of(b))}"
        reader.fault(row, "role", what, hint, code="bridge_between_connectors", names=(wire, a, b))


def _awg(reader: _Reader, row: Row) -> int | None:
    written = row.texts.get("awg", "")
    if not written:
        return None
    awg = awg_from_text(written)
    if awg is None:
        alone = re.match(r"(?:awg)?\s*#?(\d{1,2})\s*(?:awg|ga)?\Z", written, re.IGNORECASE)
        if alone:
            hint = f"Write the number alone: {alone[1]}."
        elif re.match(r"\d*[.,]\d+|.*mm", written):
            hint = "The gauge is wanted as a whole AWG number, not square millimetres: 22."
        else:
            hint = "A whole AWG number is wanted: 22; or 00, 000, 0000."
        reader.fault(row, "awg", f"awg: {shown(written)} is no gauge", hint)
    elif not THICKEST_AWG <= awg <= THINNEST_AWG:
        reader.fault(row, "awg", f"awg: {shown(written)} is no gauge that exists", f"From 0000 to {THINNEST_AWG}.")
        return None
    return awg


def _length(reader: _Reader, row: Row) -> float | None:
    written = row.texts.get("length_m", "")
    if not written:
        return None
    if not _FLOAT.match(written):
        alone = re.match(r"(\d+(?:\.\d+)?)\s*(cm|mm)\Z", written, re.IGNORECASE)
        if alone:
            metres = float(alone[1]) / (100 if alone[2].lower() == "cm" else 1000)
            hint = f"Metres are wanted: {metres:g}."
        elif written.startswith("-"):
            hint = "A length is not negative."
        else:
            hint = number_hint("length_m", written)
        reader.fault(row, "length_m", f"length_m: {shown(written)} is no length", hint)
        return None
    length = float(written)
    if length > LONGEST_RUN_M:
        hint = f"At most {LONGEST_RUN_M:g} m. Is it in millimetres?"
        reader.fault(row, "length_m", f"length_m: {shown(written)} is too long", hint)
        return None
    return length


def _check_wires(reader: _Reader, rows: Sequence[Row]) -> frozenset[int]:
    """Each wire number is there once. Gives the lines that repeat a whole conductor, number and ends."""
    first: dict[str, Row] = {}
    copies: set[int] = set()
    for row in rows:
        wire = row.texts.get("wire", "")
        if not wire:
            continue
        other = first.setdefault(wire, row)
        if other is row:
            continue
        what = f"wire {shown(wire)} is there twice, first at line {other.line}"
        hint = "Each conductor has a wire number of its own."
        if _ends(row) == _ends(other):
            copies.add(row.line)
            hint = "The row is there already: delete one of the two."
        reader.fault(row, "wire", what, hint, code="wire_number_twice", names=(wire,))
    return frozenset(copies)


def _ends(row: Row) -> frozenset[str]:
    return frozenset((row.texts.get("from", ""), row.texts.get("to", "")))


def _check_shields(reader: _Reader, rows: Sequence[Row]) -> None:
    roles = {row.texts.get("wire", ""): row.texts.get("role", "").casefold() for row in rows}
    shields = {wire: role for wire, role in roles.items() if role == Role.SHIELD and wire}
    one_ended = {row.texts.get("wire", "") for row in rows if not row.texts.get("to")}
    # a shield whose row has another's number is said there
    counts = Counter(row.texts.get("wire", "") for row in rows)
    renamed = {
        row.texts.get("cable", "")
        for row in rows
        if row.texts.get("role", "").casefold() == Role.SHIELD and counts[row.texts.get("wire", "")] > 1
    }
    guesses = Guesses(shields, what="Shields")
    for row in rows:
        named = row.texts.get("shield", "")
        if not named or named in shields or not _NAME.match(named):
            continue
        if named in roles:
            if roles[named] not in _ROLES or named in one_ended:
                continue  # said at that row
            hint = f"{named} has the role {roles[named]}; a shield's row has the role shield."
        elif row.texts.get("cable") and row.texts["cable"] in renamed:
            continue
        else:
            hint = guesses.hint(named) or "Add a row of role shield with that wire number."
        names = (row.texts.get("wire", ""), named)
        reader.fault(
            row, "shield", f"shield {shown(named)} is no run of role shield", hint, code="shield_unknown", names=names
        )


def _check_doubles(reader: _Reader, runs: Sequence[tuple[Row, Run]]) -> None:
    """Contacts that hold more conductors than declared; the conductors are named with their lines."""
    held: dict[str, list[tuple[Row, str, str]]] = {}
    for row, run in runs:
        held.setdefault(run.a, []).append((row, "from", run.wire))
        if run.b:
            held.setdefault(run.b, []).append((row, "to", run.wire))
    for contact, ends in held.items():
        connector = reader.book.connectors.get(ref_of(contact))
        pin = pin_of(contact)
        if len(ends) < 2 or connector is None or pin in (SHELL, RING) or FAMILIES[connector.family].single:
            continue
        most = 2 if pin in connector.doubles else 1
        if len(ends) <= most:
            continue
        earlier = ", ".join(f"{wire} at line {row.line}" for row, _, wire in ends[:most])
        for row, column, wire in ends[most:]:
            if most == 1:
                what = f"{contact} holds a second conductor: {wire} here, {earlier}"
                hint = f'Is one in the wrong contact? If both belong there, add "{pin}" to doubles of {connector.ref}.'
            else:
                what = f"{contact} holds a third conductor: {wire} here, {earlier}"
                hint = "A contact takes two conductors at most. Join them in a splice."
            reader.fault(row, column, what, hint, code="contact_used_twice", names=(contact, wire))
