"""No signal ground joins the two units of a link."""

from __future__ import annotations

import re
from collections.abc import Iterator

from benchcheck.harness.model import Link, Role, Unit, UnitContact
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View

_RETURNS = frozenset({Role.GROUND, Role.SIGNAL})
# what a unit's papers call a signal contact that is the ground of others (common practice, no source)
_NAMES = frozenset({"COM", "COMMON", "GND", "GROUND", "RTN", "RETURN", "RET", "REF", "SG", "SGND", "0V"})


@review_rule
class LinkWithoutReturn(Rule):
    code = "link_without_return"
    severity = Severity.FINDING
    title = "The signal ground of a link reaches both of its units"
    why = (
        "Levels are measured against signal ground; without one the line floats, and works on some days "
        "through the supply."
    )
    do = "Add the run between the signal grounds of the two units, or correct ground of the link in harness.toml."
    source = "TIA-232-F: signal common is the reference of every circuit (from memory)"
    lacks = frozenset({Role.SIGNAL, Role.GROUND})

    def hits(self, view: View) -> Iterator[Hit]:
        for link in view.harness.links:
            units = self._units(view, link)
            if any(_RETURNS & view.missing_roles.get(unit, frozenset()) for unit in units):
                continue  # the forgotten run is reported
            if view.net_roles.is_troubled(link.ground):
                continue  # what it is joined to instead is reported
            lacking = sorted(units - self._reached(view, link.ground))
            if lacking:
                text = f"link '{link.name}': its ground {view.named(link.ground)} reaches no ground of {' and '.join(lacking)}"
                yield Hit((link.name, link.ground), link.place, text)

    def _units(self, view: View, link: Link) -> frozenset[str]:
        ends = [end for talk in link.talks for end in (talk.tx, talk.rx)]
        return frozenset(view.described[end][0].ref for end in ends if end in view.described)

    def _reached(self, view: View, ground: str) -> frozenset[str]:
        """The units one of whose grounds or signal contacts is in one net with a link's ground."""
        net = view.nets.net_of(ground)
        members = (ground,) if net is None else view.nets.members(net)
        return frozenset(
            view.described[member][0].ref
            for member in members
            if member in view.described and _is_return(*view.described[member])
        )


def _is_return(unit: Unit, entry: UnitContact) -> bool:
    """Whether a contact may be the ground of a link: a signal contact not, where another of its connector is by name."""
    if entry.role is not Role.SIGNAL or _by_name(entry):
        return entry.role in _RETURNS
    return not any(
        other.role is Role.SIGNAL and other.connector == entry.connector and _by_name(other)
        for other in unit.type.contacts
    )


def _by_name(entry: UnitContact) -> bool:
    return not _NAMES.isdisjoint(re.split(r"[^A-Z0-9]+", entry.name.upper()))
