"""A table of runs under any headings becomes the rows of pins.csv, or a list of everything that is wrong in it."""

from __future__ import annotations

from collections.abc import Sequence

from benchcheck.harness.intake.columns import CONNECTOR, CONTACT, END_A, END_B, columns_of
from benchcheck.harness.intake.damage import doubled, is_broken
from benchcheck.harness.intake.find_header import Header
from benchcheck.harness.intake.mapping import TableMapping
from benchcheck.harness.intake.pins_text import pin_columns, pin_line
from benchcheck.harness.intake.read_cells import CellReader, Ways
from benchcheck.harness.intake.sheet import Row, Sheet, cell_text, letter
from benchcheck.harness.intake.spelled import Speller
from benchcheck.harness.intake.taken import Account, PassedOver, TakenRow
from benchcheck.harness.reading.contact_book import AnyContact, ContactBook
from benchcheck.harness.reading.hints import shown
from benchcheck.harness.reading.read_pins import read_pins
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import FileFault, Place

_PLAIN = ("wire", "awg", "length_m", "role", "cable", "shield", "colour", "note", "state")
_WHERE = ("wire", "from", "from.connector", "from.contact", "to", "to.connector", "to.contact")


def take_runs(
    sheet: Sheet,
    header: Header,
    mapping: TableMapping,
    ways: Ways,
    book: ContactBook | None,
    table_faults: Sequence[FileFault] = (),
) -> Account:
    """The rows of the table in the words of the profile, and everything that is to be said about them.

    book   the contacts of the harness; None where harness.toml can't be read: then only their form is judged
    """
    account = Account(sheet, tuple(column.heading for column in mapping.columns))
    account.table_faults += table_faults
    _check_headings(account, header, mapping)
    if account.table_faults:
        return account
    speller = Speller(book)
    reader = CellReader(mapping, account, ways, lambda target, text, row: _known(speller, mapping, target, text, row))
    doubtful: list[TakenRow] = []  # rows with a fault, whose other cells are judged all the same
    for row in reader.rows(header.row, _WHERE):
        taken = _row(reader, speller, row)
        if not any(taken.texts.values()) and row.number not in account.refused:
            if any(text.strip() for text in taken.kept):
                hint = "Delete the row, or begin it with #."
                account.refuse(row.number, None, "row holds nothing but columns that benchcheck doesn't know", hint)
            else:
                account.passed_over.append(PassedOver(row.number, "", "nothing in it"))
        elif row.number not in account.refused:
            account.rows.append(taken)
        else:
            doubtful.append(taken)
    _check(account, book, doubtful)
    _note_failed(account, mapping)
    return account


def drop_refused(account: Account, book: ContactBook | None) -> None:
    """Leave the refused rows out, and those that are wrong without them, until the rest is right."""
    while account.refused:
        before = len(account.refused)
        _check(account, book)
        if len(account.refused) == before:
            return


def _check_headings(account: Account, header: Header, mapping: TableMapping) -> None:
    for first, second in doubled(account.headings):
        what = f"heading {shown(account.headings[second])} is there twice: columns {letter(first)} and {letter(second)}"
        if mapping.columns[first].target or mapping.columns[second].target:
            hint = "Rename one of them, or say which counts by its letter: --column wire=C."
            if not account.table_faults:
                account.table_faults.append(FileFault(Place(account.sheet.file, header.row, second + 1), what, hint))
        else:
            account.notes.append(f"{what}; both are kept")
    for index, column in enumerate(mapping.columns):
        if not column.heading:
            account.notes.append(f"column {letter(index)} has no heading; it is kept as it is")
    lead = [row.number for row in account.sheet.rows if row.number < header.row]
    rows = f"row {header.row}"
    if lead and header.rows == 2:
        rows = f"rows {lead.pop()} and {header.row}"
        if not lead:
            account.notes.append(f"the headings stand in {rows}")
    if lead:
        what = f"row {lead[0]}" if len(lead) == 1 else f"rows {lead[0]} to {lead[-1]}"
        account.notes.append(f"the headings stand in {rows}; {what} above them passed over")


def _note_failed(account: Account, mapping: TableMapping) -> None:
    """Failed formulas in the columns that are kept as they are."""
    for index in mapping.kept:
        rows = [taken.row.number for taken in account.rows if is_broken(taken.row.cell(index))]
        if rows:
            listed = ", ".join(map(str, rows[:8])) + (" ..." if len(rows) > 8 else "")
            account.notes.append(
                f"{account.column(index)} holds a formula that failed in row {listed}; kept as its text"
            )


def _known(speller: Speller, mapping: TableMapping, target: str, text: str, row: Row) -> bool:
    """Whether a text is a contact that the harness has, as it stands in its column."""
    end, _, half = target.partition(".")
    if end not in (END_A, END_B):
        return False
    if half != CONTACT:
        return speller.knows(speller.whole(text))
    index = mapping.at(f"{end}.{CONNECTOR}")
    connector = cell_text(row.cell(index)).strip() if index is not None else ""
    return bool(connector) and speller.knows(speller.joined(connector, text))


def _row(reader: CellReader, speller: Speller, row: Row) -> TakenRow:
    account, known = reader.account, columns_of(reader.mapping.kind)
    texts = {target: reader.text(row, known[target]) for target in _PLAIN}
    columns = {target: index for target in _PLAIN if (index := reader.index(target)) is not None}
    ends: dict[str, frozenset[int]] = {}
    for end in (END_A, END_B):
        halves = [f"{end}.{CONNECTOR}", f"{end}.{CONTACT}"]
        ends[end] = frozenset(index + 1 for half in halves if (index := reader.index(half)) is not None)
        whole = reader.index(end)
        at = whole if whole is not None else next((i for h in halves if (i := reader.index(h)) is not None), None)
        if at is not None:
            columns[end] = at
        if whole is not None:
            written = reader.text(row, known[end])
            name = speller.whole(written) if written else ""
        else:
            written, name = _joined(reader, speller, row, end, halves)
            contact = reader.index(halves[1])
            if contact is not None and speller.has(ref_of(name)):
                columns[end] = contact  # what is wrong with this end is wrong with its contact
        if name != written:
            account.spelled[f"{written} as {name}"] += 1
        texts[end] = name
    if texts["wire"].startswith("#"):
        account.refuse(
            row.number, columns.get("wire"), f"{shown(texts['wire'])} can't be a name", "Begin with a letter or digit."
        )
    return TakenRow(row, texts, columns, reader.kept(row), ends)


def _joined(reader: CellReader, speller: Speller, row: Row, end: str, halves: Sequence[str]) -> tuple[str, str]:
    """What is written in the two columns of an end, put together, and the contact that it names."""
    account, known = reader.account, columns_of(reader.mapping.kind)
    refused = len(account.refused.get(row.number, ()))
    connector, contact = (reader.text(row, known[half]) for half in halves)
    if len(account.refused.get(row.number, ())) > refused:
        return "", ""
    if contact and not connector:
        index = reader.index(halves[0])
        above = reader.above(row, halves[0])
        if "-" in contact or index is None:
            return contact, speller.whole(contact)
        merged = (row.number, index) in account.sheet.merged
        hint = "Write the connector into every row."
        if merged or above:
            hint += (
                f" If {shown(above) if above else 'the merged cell'} stands for this row too, import with --fill-down."
            )
        what = "is empty: it is covered by a merged cell" if merged else "is empty beside a contact"
        account.refuse(row.number, index, what, hint)
        return "", ""
    reader.remember(row, halves[0], connector)
    if not connector:
        index = reader.index(halves[0])
        if index is not None and (row.number, index) in account.sheet.merged:
            hint = "Write the connector into every row. If the merged cell stands for this row too, import with --fill-down."
            account.refuse(row.number, index, "is empty: it is covered by a merged cell", hint)
        return "", ""
    written = f"{connector}-{contact}" if contact else connector
    return written, speller.joined(connector, contact)


def _check(account: Account, book: ContactBook | None, doubtful: Sequence[TakenRow] = ()) -> None:
    """What the pin table's own reader finds wrong with the rows, said at the cells of the table; those are left out.

    The rows are given to it at their own line numbers, so that what it says of other lines is true of the table.
    """
    rows = sorted((*account.rows, *doubtful), key=lambda taken: taken.row.number)
    names = pin_columns([taken.texts for taken in rows])
    lines: list[str] = []
    begins: dict[int, dict[int, str]] = {}
    by_number = {taken.row.number: taken for taken in rows}
    said = {taken.row.number: _targets_at_fault(account, taken) for taken in doubtful}
    lines.append(",".join(names))
    for number, taken in by_number.items():
        lines += [""] * (number - 1 - len(lines))
        line, begins[number] = pin_line(taken.texts, names)
        lines.append(line)
    _, faults = read_pins(account.sheet.file, "\n".join(lines), book or AnyContact())
    for fault in faults:
        number = fault.place.line or 0
        if number not in by_number:
            account.table_faults.append(fault)
            continue
        name = begins[number].get(fault.place.column or 0, "")
        if name not in said.get(number, ()):
            account.refuse(number, by_number[number].columns.get(name), fault.text, fault.hint)
    account.rows = [taken for taken in account.rows if taken.row.number not in account.refused]


def _targets_at_fault(account: Account, taken: TakenRow) -> frozenset[str]:
    """The columns of pins.csv about whose cells something is said already: they are empty now, which is no fault."""
    wrong = {fault.place.column for fault in account.refused.get(taken.row.number, ())}
    whole = {target.partition(".")[0] for target, index in taken.columns.items() if index + 1 in wrong}
    halves = {end for end in (END_A, END_B) if taken.ends.get(end, frozenset()) & wrong}
    return frozenset(whole | halves)
