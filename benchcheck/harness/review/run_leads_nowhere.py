"""A run ends at a splice or terminal with nothing else on it."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.reading.read_pins import SEEN_FROM_TO
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import ref_of

# shields, bridges and buses have rules of their own
_OTHER_RULES = frozenset({Role.SHIELD, Role.BRIDGE, Role.CAN_H, Role.CAN_L})


@review_rule
class RunLeadsNowhere(Rule):
    code = "run_leads_nowhere"
    severity = Severity.FINDING
    title = "Every run leads on from a splice or terminal"
    why = "What it was to join there is missing: the other run was forgotten, or ends at another splice."
    do = "Add the run that goes on from there, or correct the end."
    source = "common practice, no source"
    lacks = frozenset(Role)

    def hits(self, view: View) -> Iterator[Hit]:
        harness = view.harness
        meant = {harness.chassis, *(end for feed in harness.feeds for end in (feed.source, feed.ground))}
        meant.update(link.ground for link in harness.links)
        meant.update(end for link in harness.links for talk in link.talks for end in (talk.tx, talk.rx))
        missing = frozenset(role for roles in view.missing_roles.values() for role in roles)
        adapters = {bus.adapter_at for bus in harness.buses}
        for contact, runs in view.runs_at.items():
            run, connector = runs[0], harness.connectors[ref_of(contact)]
            if len(runs) > 1 or connector.family not in ("splice", "terminals") or run.role in _OTHER_RULES:
                continue
            if contact in meant or view.has_part(contact) or connector.ref in adapters:
                continue
            if (run.role is Role.POWER and view.not_fed) or (run.role is Role.GROUND and view.not_returned):
                continue  # what it leads to is reported as not fed, or as not returned
            if {run.role, SEEN_FROM_TO.get(run.role, run.role)} & missing:
                continue  # the run that went on from there is the one that is reported as forgotten
            yield Hit((run.wire, contact), run.place, f"{run.wire} ends at {contact}, and nothing goes on from there")
