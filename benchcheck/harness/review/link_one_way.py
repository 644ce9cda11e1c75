"""Only one direction of a link is wired, and both units have the other one."""

from __future__ import annotations

import re
from collections.abc import Iterator

from benchcheck.harness.model import Role, UnitContact
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import join

_DIRECTIONS = frozenset({"", "TX", "RX", "TXD", "RXD", "OUT", "IN", "TRANSMIT", "RECEIVE"})


@review_rule
class LinkOneWay(Rule):
    code = "link_one_way"
    severity = Severity.WARNING
    title = "A link is wired both ways where both units have both directions"
    why = "A unit that is asked and can't answer, or answers and isn't heard, looks dead."
    do = "Add the run of the other direction; where one way is meant, leave it so."
    source = "common practice, no source"
    lacks = frozenset({Role.RS232_TX, Role.RS232_RX})

    def hits(self, view: View) -> Iterator[Hit]:
        joined = {(talk.tx, talk.rx) for link in view.harness.links for talk in link.talks}
        for link in view.harness.links:
            if len(link.talks) != 1:
                continue
            talk = link.talks[0]
            back_rx = self._partner(view, talk.tx, Role.RS232_RX)
            back_tx = self._partner(view, talk.rx, Role.RS232_TX)
            if (
                not back_rx
                or not back_tx
                or (back_tx, back_rx) in joined
                or back_rx in view.missing
                or back_tx in view.missing
            ):
                continue
            if not view.is_wired(back_rx) and not view.is_wired(back_tx):
                text = (
                    f"link '{link.name}' is wired one way; {view.named(back_tx)} and {view.named(back_rx)} have no run"
                )
                yield Hit((link.name, back_tx, back_rx), link.place, text)

    def _partner(self, view: View, contact: str, wanted: Role) -> str:
        """The contact of the other direction at the same connector of the unit: of one protocol, or of one name."""
        if contact not in view.described:
            return ""
        unit, entry = view.described[contact]
        ref = unit.connectors[entry.connector]
        for other in unit.type.contacts:
            if other.role is wanted and other.connector == entry.connector and _belong(entry, other):
                return join(ref, other.contact)
        return ""


def _belong(one: UnitContact, other: UnitContact) -> bool:
    if one.protocol and other.protocol:
        return one.protocol == other.protocol and _stem(one.name) == _stem(other.name)
    return bool(one.name and other.name) and _stem(one.name) == _stem(other.name)


def _stem(name: str) -> str:
    """What is left of a contact's name without the words for its direction: `C` of `TX C`, nothing of `RX`."""
    return " ".join(word for word in re.split(r"[^A-Za-z0-9]+", name.upper()) if word not in _DIRECTIONS)
