"""A unit's power contact gets another voltage than it wants, or none."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Need, Role
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

    def hits(self, view: View) -> Iterator[Hit]:
        for contact, (unit, entry) in view.described.items():
            if entry.role is not Role.POWER or entry.feed_v is None or contact not in view.runs_at:
                continue
            feeds = view.feeds_at(contact)
            place = view.runs_at[contact][0].place
            if not feeds and entry.need is Need.NEEDED and not view.may_be_fed(contact):
                text = f"no feed reaches {view.named(contact)}, which wants {entry.feed_v:g} V"
                yield Hit((contact, unit.ref), place, text)
            for feed in feeds:
                if abs(feed.nominal_v - entry.feed_v) > feed.nominal_v * feed.tolerance_percent / 100:
                    text = (
                        f"{view.named(contact)} wants {entry.feed_v:g} V; feed '{feed.name}' gives {feed.nominal_v:g} V"
                    )
                    yield Hit((contact, unit.ref), place, text)
