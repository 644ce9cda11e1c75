"""A double contact is declared that holds fewer than two conductors."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role, Run
from benchcheck.harness.review.link_without_return import LinkWithoutReturn
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import join

_CAN = frozenset({Role.CAN_H, Role.CAN_L})
_SERIAL = frozenset({Role.RS232_TX, Role.RS232_RX})
_RETURNS = frozenset({Role.SIGNAL, Role.GROUND})


@review_rule
class NeedlessDouble(Rule):
    code = "needless_double"
    severity = Severity.WARNING
    title = "A contact that is declared double holds two conductors"
    why = "Where two conductors were meant and one is in the table, a run was forgotten or ends elsewhere."
    do = "Add the run that is missing, or take the contact out of doubles."
    source = "common practice, no source"
    lacks = frozenset(Role)

    def hits(self, view: View) -> Iterator[Hit]:
        lacks_return = any(LinkWithoutReturn().hits(view))
        for connector in view.harness.connectors.values():
            for pin in sorted(connector.doubles):
                contact = join(connector.ref, pin)
                runs = view.runs_at.get(contact, ())
                if len(runs) < 2:
                    if contact in view.missing or self._said_elsewhere(view, runs, lacks_return):
                        continue
                    said = f"only {runs[0].wire}" if runs else "no run"
                    text = f"{contact} is declared double and holds {said}"
                    yield Hit((contact,), connector.place, text)

    def _said_elsewhere(self, view: View, runs: tuple[Run, ...], lacks_return: bool) -> bool:
        """Whether the run that isn't here may be one that is reported as forgotten, or that a bus lacks."""
        roles = {run.role for run in runs}
        if roles & _CAN and not all(seen.is_whole and len(seen.terminators) == 2 for seen in view.buses):
            return True
        if (Role.GROUND in roles and view.not_returned) or (Role.POWER in roles and view.not_fed):
            return True
        if roles & _SERIAL and any(
            not view.conducting.together(talk.tx, talk.rx) for link in view.harness.links for talk in link.talks
        ):
            return True  # a piece of a link is missing
        if roles & _RETURNS and lacks_return:
            return True
        return any(roles & missing for missing in view.missing_roles.values())
