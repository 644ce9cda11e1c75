"""A link's transmitter and receiver are not on one wire."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role, Talk
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class LinkNotJoined(Rule):
    code = "link_not_joined"
    severity = Severity.FINDING
    title = "Each direction of a link has its wire, from a transmitter to a receiver"
    why = "The pin table doesn't join what harness.toml says is a link: nothing will be heard."
    do = "Correct tx and rx of the link in harness.toml, or add the run that is missing."
    source = "common practice, no source"
    lacks = frozenset({Role.RS232_TX, Role.RS232_RX})

    def hits(self, view: View) -> Iterator[Hit]:
        for link in view.harness.links:
            for talk in link.talks:
                if not view.conducting.together(talk.tx, talk.rx):
                    if not self._said_elsewhere(view, talk):
                        text = f"link '{link.name}': {view.named(talk.tx)} and {view.named(talk.rx)} are not one net"
                        yield Hit((talk.tx, talk.rx), link.place, text)
                    continue
                for contact, wanted in ((talk.tx, Role.RS232_TX), (talk.rx, Role.RS232_RX)):
                    role = view.role_at(contact)
                    if role is not None and role is not wanted:
                        text = f"link '{link.name}': {view.named(contact)} is {role.value}, not {wanted.value}"
                        yield Hit((contact,), link.place, text)

    def _said_elsewhere(self, view: View, talk: Talk) -> bool:
        """Whether a forgotten run, or what its contacts are joined to instead, is reported already."""
        return any(end in view.missing or view.net_roles.is_troubled(end) for end in (talk.tx, talk.rx))
