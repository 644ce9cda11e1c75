"""How other tables spell a contact: `P101.4`, `p101 / 04`, `P101 pin 4` for P101-4, where the connectors leave no doubt."""

from __future__ import annotations

import re
from collections.abc import Mapping

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.reading.contact_book import ContactBook
from benchcheck.words.contact import RING, SHELL, is_contact, join

_PARTED = re.compile(
    r"([A-Za-z][A-Za-z0-9_]*?)\s*[-.:/, ]\s*(?:(?:pin|contact|terminal|socket|no)\b\.?\s*)?([A-Za-z0-9_]+)\Z", re.I
)
_PART_WORD = re.compile(r"(?:pin|contact|terminal|socket)\b\.?\s*(?=\w)", re.I)
_SHELL_WORDS = {"shell": SHELL, "backshell": SHELL, "body": SHELL, "ring": RING}


class Speller:
    """Knows the contacts of a harness under other spellings. Without a harness, only under their own."""

    def __init__(self, book: ContactBook | None) -> None:
        self._book = book
        self._names: dict[str, str] = {}
        doubtful: set[str] = set()
        for connector in book.connectors.values() if book else ():
            if FAMILIES[connector.family].single:
                names = [(connector.ref, connector.ref)]
            else:
                pins = [*connector.contacts, *((SHELL, RING) if connector.has_shell else ())]
                names = [(join(connector.ref, _bare(pin)), join(connector.ref, pin)) for pin in pins]
            for key, name in names:
                key = key.casefold()
                if self._names.setdefault(key, name) != name:
                    doubtful.add(key)
        for key in doubtful:
            del self._names[key]

    def knows(self, contact: str) -> bool:
        """Whether the harness has this very contact."""
        return self._book is not None and self._names != {} and self._book.wrong(contact) is None

    def has(self, connector: str) -> bool:
        """Whether the harness has a connector of this name."""
        return self._book is not None and connector in self._book.connectors

    def whole(self, written: str) -> str:
        """The contact that is written so; as it stands where it is none that is known."""
        if self.knows(written) or (self._book is None and is_contact(written)):
            return written
        found = _PARTED.match(written)
        if found:
            return self.joined(found[1], found[2])
        return self._names.get(written.casefold(), written)

    def joined(self, connector: str, contact: str) -> str:
        """The contact of a connector and a contact that stand in columns of their own."""
        contact = _PART_WORD.sub("", contact, count=1).strip()
        contact = _SHELL_WORDS.get(contact.casefold(), contact)
        if not contact:
            return self._names.get(connector.casefold(), connector)
        # the contact's column may hold the whole: P101-4 beside P101
        if contact.casefold().startswith(f"{connector.casefold()}-"):
            return self.whole(contact)
        name = join(connector, contact)
        if self.knows(name):
            return name
        key = join(connector, _bare(contact)).casefold()
        found = self._names.get(key)
        if found is None and self._names.get(connector.casefold()) is not None and contact in ("1", "-", connector):
            return self._names[connector.casefold()]  # a stud whose only contact is called 1
        return found or name


def _bare(contact: str) -> str:
    return contact.lstrip("0") or "0" if contact.isdigit() else contact


def spelled(names: Mapping[str, int]) -> str:
    """`P101.4 as P101-4 (3 times)` and the like, for a note; the first few of many."""
    listed = [f"{pair} ({count} time{'s' if count != 1 else ''})" for pair, count in list(names.items())[:5]]
    more = f" and {len(names) - 5} more" if len(names) > 5 else ""
    return ", ".join(listed) + more
