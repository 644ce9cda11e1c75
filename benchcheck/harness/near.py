"""Pairs of contacts whose conductors can come into touch, and why: what isolation is asked of.

neighbours  two populated contacts beside each other in a connector: a strand, a bent contact, solder
chassis     every net against chassis: a pinched wire
shield      a core against the shield around it
feeds       every net against every feed; a feed against its ground, and a bus against its rails, are asked by kinds
            of their own
cable       two cores of one cable
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.harness.buses import pairs
from benchcheck.harness.conducting import Conducting
from benchcheck.harness.connector.geometry import neighbours_of
from benchcheck.harness.model import Bus, Harness
from benchcheck.harness.nets import Nets
from benchcheck.words.contact import contact_key, join


class Why(StrEnum):
    """Why a pair is asked; the words stand in the question."""

    NEIGHBOURS = "neighbours"
    CHASSIS = "to chassis"
    SHIELD = "core to shield"
    FEEDS = "to a feed"
    CABLE = "in one cable"
    ALL = "every net against every other"


@dataclass(frozen=True, slots=True)
class NearPair:
    """Two contacts that nothing should join. `text` is the reason in more words, where there are any."""

    red: str
    black: str
    why: Why
    text: str = ""


def near_pairs(harness: Harness, nets: Nets) -> Iterator[NearPair]:
    """Every pair that is asked of all nets: neighbours, chassis, feeds, shields, cables. Both may be one by design."""
    yield from _neighbours(harness, nets)
    chassis = harness.chassis
    for members in nets.all_members():
        if chassis not in members:
            yield NearPair(members[0], chassis, Why.CHASSIS)
        for feed in harness.feeds:
            yield NearPair(members[0], feed.source, Why.FEEDS)
    drains = {run.wire: run.a for run in harness.wired_runs if run.role == "shield"}
    cables: dict[str, list[str]] = {}
    for run in harness.wired_runs:
        if run.role != "shield":
            if run.shield in drains:
                yield NearPair(run.a, drains[run.shield], Why.SHIELD)
            if run.cable:
                cables.setdefault(run.cable, []).append(run.a)
    for ends in cables.values():
        for i, a in enumerate(ends):
            for b in ends[i + 1 :]:
                yield NearPair(a, b, Why.CABLE)


def _neighbours(harness: Harness, nets: Nets) -> Iterator[NearPair]:
    for connector in harness.connectors.values():
        populated = {pin for pin in connector.contacts if nets.net_of(join(connector.ref, pin)) is not None}
        for a, b in sorted(neighbours_of(connector), key=lambda pair: [contact_key(pin) for pin in pair]):
            if a in populated and b in populated:
                yield NearPair(join(connector.ref, a), join(connector.ref, b), Why.NEIGHBOURS)


def feed_pairs(harness: Harness) -> Iterator[NearPair]:
    """Each feed against its ground, and against the feeds listed after it."""
    for number, feed in enumerate(harness.feeds):
        yield NearPair(feed.source, feed.ground, Why.FEEDS, f"{feed.name} to its ground")
        for other in harness.feeds[number + 1 :]:
            yield NearPair(feed.source, other.source, Why.FEEDS, f"{feed.name} to {other.name}")


def bus_pairs(harness: Harness, bus: Bus, groups: Conducting) -> Iterator[NearPair]:
    """The wires of a bus against chassis and each feed. Open units may leave it in pieces: each piece once.

    Where a terminator joins the two wires of a piece they are one group, and one of them speaks for both.
    """
    rails = [(harness.chassis, "ground"), *((feed.source, feed.name) for feed in harness.feeds)]
    done: set[int] = set()
    for place in pairs(harness, bus):
        for wire, name in ((place.high, "CAN-H"), (place.low, "CAN-L")):
            group = groups.number[wire]
            if group not in done:
                done.add(group)
                for rail, what in rails:
                    yield NearPair(wire, rail, Why.FEEDS, f"{bus.name} {name} to {what}")
