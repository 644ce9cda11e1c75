"""The contacts of a harness, from the text of harness.toml alone: what an import needs to know of it."""

from __future__ import annotations

from benchcheck.harness.reading.contact_book import ContactBook
from benchcheck.harness.reading.forms import ConnectorForm
from benchcheck.harness.reading.read_connectors import read_connectors
from benchcheck.harness.reading.read_forms import read_list
from benchcheck.harness.reading.toml_text import read_toml
from benchcheck.words.errors import FileFault


def contact_book(file: str, text: str) -> ContactBook | None:
    """The contacts of the connectors in `text`; None where their tables can't be read, so that none may be judged.

    A connector whose own table is faulty is left in doubt: nothing is said of its contacts.
    """
    faults: list[FileFault] = []
    doc, _ = read_toml(file, text)
    entries = doc.values.get("connectors") if doc else None
    if doc is None or not isinstance(entries, list):
        return None
    forms = read_list(ConnectorForm, doc, ("connectors",), entries, faults)
    connectors, faulty = read_connectors(doc, forms, faults)
    named = {entry.get("ref") for entry in entries if isinstance(entry, dict)}
    right = {form.ref for _, form in forms}
    doubtful = {ref for ref in named if isinstance(ref, str) and ref not in right}
    return ContactBook(connectors, doubtful | faulty)
