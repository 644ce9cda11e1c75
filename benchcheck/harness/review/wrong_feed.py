"""A unit's power contact gets another voltage than it wants, or none."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class WrongFeed(Rule):
    code = "wrong_feed"
    severity = Severity.FINDING
    title = "Every power contact is fed with the volts it wants"
    why = "A unit on the wrong feed is damaged at power-up; one that no feed reaches stays dead."
    do = "Follow the run back to its feed; correct the run, or feed_v in the unit's file."
    source = "common practice, no source"
    lacks = frozenset({Role.POWER})

    def hits(self, view: View) -> Iterator[Hit]:
        for contact in view.not_fed:
            unit, entry = view.described[contact]
            text = f"no feed reaches {view.named(contact)}, which wants {entry.feed_v:g} V"
            yield Hit((contact, unit.ref), view.runs_at[contact][0].place, text)
        for contact, (unit, entry) in view.described.items():
            if entry.role is not Role.POWER or entry.feed_v is None or contact not in view.runs_at:
                continue
            feeds = view.feeds_at(contact)
            if len(feeds) != 1 or view.net_roles.is_troubled(contact):
                continue  # feeds that are joined, and power where it doesn't belong, are reported as such
            feed = feeds[0]
            if abs(feed.nominal_v - entry.feed_v) > feed.nominal_v * feed.tolerance_percent / 100:
                text = f"{view.named(contact)} wants {entry.feed_v:g} V; feed '{feed.name}' gives {feed.nominal_v:g} V"
                yield Hit((contact, unit.ref), view.runs_at[contact][0].place, text)
