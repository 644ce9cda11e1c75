"""Contacts of one net have roles that don't belong together."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View

# What a contact carries. Roles that carry the same may be one net; a signal may be strapped to ground.
_CARRIES = {
    Role.POWER: "power",
    Role.GROUND: "ground",
    Role.SHIELD: "ground",
    Role.SIGNAL: "signal",
    Role.CAN_H: "CAN",
    Role.CAN_L: "CAN",
    Role.RS232_TX: "RS-232",
    Role.RS232_RX: "RS-232",
    Role.COAX: "coax",
}
_TOGETHER = frozenset({"ground", "signal"})


@review_rule
class MixedNet(Rule):
    code = "mixed_net"
    severity = Severity.FINDING
    title = "Contacts of one net belong together: no power on a signal, no bus on a ground"
    why = "Power on a signal contact destroys it; power on a ground is a short; a bus on a ground is dead."
    do = "Find the run that ends in the wrong contact."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        also = dict.fromkeys((view.harness.chassis, *(feed.ground for feed in view.harness.feeds)), "ground")
        also |= {feed.source: "power" for feed in view.harness.feeds}
        for net, members in enumerate(view.nets.all_members()):
            first: dict[str, str] = {}
            for contact in members:
                role = view.role_at(contact)
                carried = also.get(contact) if role is None else _CARRIES.get(role)
                if carried is not None:
                    first.setdefault(carried, contact)
            if len(first) < 2 or set(first) <= _TOGETHER:
                continue
            said = ", ".join(f"{view.named(contact)} is {carried}" for carried, contact in first.items())
            wires = [run for run in view.harness.runs if view.nets.net_of(run.a) == net]
            place = wires[0].place if wires else view.harness.connectors[members[0].partition("-")[0]].place
            yield Hit(tuple(first.values()), place, f"one net joins what doesn't belong together: {said}")
