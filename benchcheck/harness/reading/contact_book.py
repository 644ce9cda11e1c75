"""Which contacts there are, and what to say of one that there isn't."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.model import Connector
from benchcheck.harness.reading.hints import Guesses, nearest, shown, span
from benchcheck.words.contact import RING, SHELL, is_contact


class ContactBook:
    """The contacts of all connectors.

    `doubtful` are references whose own table is faulty: nothing is said about their contacts, so that one
    fault is reported once.
    """

    def __init__(self, connectors: Mapping[str, Connector], doubtful: Collection[str] = ()) -> None:
        self.connectors = connectors
        self.doubtful = frozenset(doubtful) - {""}
        self._refs = Guesses((*connectors, *sorted(self.doubtful)), what="Connectors")
        self._known: set[str] = set()
        for connector in connectors.values():
            if FAMILIES[connector.family].single:
                self._known.add(connector.ref)
                continue
            self._known.update(f"{connector.ref}-{pin}" for pin in connector.contacts)
            if connector.has_shell:
                self._known.update((f"{connector.ref}-{SHELL}", f"{connector.ref}-{RING}"))

    def knows(self, ref: str) -> bool:
        """Whether there is a connector of that reference (or there may be, its own table being faulty)."""
        return ref in self.connectors or ref in self.doubtful

    def wrong(self, contact: str) -> tuple[str, str] | None:
        """What is wrong with the name of a contact, and a hint; None where it exists (or can't be told)."""
        if contact in self._known:
            return None
        ref, dash, pin = contact.partition("-")
        if ref in self.doubtful:
            return None
        connector = self.connectors.get(ref)
        if connector is None:
            if not is_contact(contact):
                hint = "Reference, dash, contact: P101-4, P101-shell; a stud or splice: GND2."
                return f"{shown(contact)} is not written like a contact", hint
            return f"connector {shown(ref)} is not in harness.toml", self._refs.hint(ref)
        family = FAMILIES[connector.family]
        if family.single:
            return f"{shown(contact)}: {ref} is a {family.name} and has no contacts of its own", f"Write {ref}."
        names = (*connector.contacts, *((SHELL, RING) if connector.has_shell else ()))
        also = ", also shell and ring" if connector.has_shell else ""
        has = f"{ref} ({connector.family}) has {span(connector.contacts)}{also}."
        if not dash:
            return f"{shown(contact)} names the connector, not a contact", f"Write {ref}-{names[0]}. {has}"
        near = "" if pin.isdigit() and connector.contacts[-1].isdigit() else nearest(pin, names)
        hint = f"Did you mean '{ref}-{near}'? {has}" if near else has
        return f"contact {shown(pin)} is not in {ref}", hint


class AnyContact(ContactBook):
    """Finds no contact wrong: where the connectors can't be read, which is said once."""

    def __init__(self) -> None:
        super().__init__({})

    def knows(self, ref: str) -> bool:
        return True

    def wrong(self, contact: str) -> tuple[str, str] | None:
        return None
